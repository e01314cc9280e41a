#include "tests/record/write/fault_vfs.hpp"

#include <atomic>
#include <cstring>
#include <fstream>
#include <iterator>
#include <map>
#include <mutex>
#include <new>
#include <string>

#include <sqlite3.h>

#include "tests/support/tree.hpp"

namespace turnstone::record_test {

namespace {

std::atomic<int> write_code{SQLITE_OK};
std::atomic<long> writes{0};
std::atomic<long> failing_write{-1};
std::atomic<int> failing_write_code{SQLITE_OK};
std::atomic<bool> later_writes_fail{false};

std::mutex images_mutex;
bool images_kept = false;
std::map<std::string, std::string> images; // file name -> content at its last sync

/// What SQLite sees as a file; the system's own follows it in memory.
struct ShimFile {
    sqlite3_file base;
    char path[512];
};

sqlite3_vfs* real_vfs = nullptr;
sqlite3_vfs shim_vfs;

sqlite3_file* real(sqlite3_file* file) {
    return reinterpret_cast<sqlite3_file*>(reinterpret_cast<ShimFile*>(file) + 1);
}

int next_write_code() {
    const long number = writes++;
    const long failing = failing_write;
    const bool fails = number == failing || (later_writes_fail && failing >= 0 && number > failing);
    return fails ? failing_write_code.load() : write_code.load();
}

void keep_image(const char* path) {
    const std::lock_guard lock(images_mutex);
    if (images_kept && path[0] != '\0') images[std::filesystem::path(path).filename()] = test::read_file(path);
}

const sqlite3_io_methods kShimMethods = {
    3,
    [](sqlite3_file* f) { return real(f)->pMethods == nullptr ? SQLITE_OK : real(f)->pMethods->xClose(real(f)); },
    [](sqlite3_file* f, void* to, int n, sqlite3_int64 at) { return real(f)->pMethods->xRead(real(f), to, n, at); },
    [](sqlite3_file* f, const void* from, int n, sqlite3_int64 at) {
        const int code = next_write_code();
        return code != SQLITE_OK ? code : real(f)->pMethods->xWrite(real(f), from, n, at);
    },
    [](sqlite3_file* f, sqlite3_int64 n) {
        const int code = next_write_code();
        return code != SQLITE_OK ? code : real(f)->pMethods->xTruncate(real(f), n);
    },
    [](sqlite3_file* f, int flags) {
        int code = next_write_code();
        if (code == SQLITE_OK) code = real(f)->pMethods->xSync(real(f), flags);
        if (code == SQLITE_OK) keep_image(reinterpret_cast<ShimFile*>(f)->path);
        return code;
    },
    [](sqlite3_file* f, sqlite3_int64* n) { return real(f)->pMethods->xFileSize(real(f), n); },
    [](sqlite3_file* f, int level) { return real(f)->pMethods->xLock(real(f), level); },
    [](sqlite3_file* f, int level) { return real(f)->pMethods->xUnlock(real(f), level); },
    [](sqlite3_file* f, int* out) { return real(f)->pMethods->xCheckReservedLock(real(f), out); },
    [](sqlite3_file* f, int op, void* arg) { return real(f)->pMethods->xFileControl(real(f), op, arg); },
    [](sqlite3_file* f) { return real(f)->pMethods->xSectorSize(real(f)); },
    [](sqlite3_file* f) { return real(f)->pMethods->xDeviceCharacteristics(real(f)); },
    [](sqlite3_file* f, int page, int size, int extend, void volatile** out) {
        return real(f)->pMethods->xShmMap(real(f), page, size, extend, out);
    },
    [](sqlite3_file* f, int offset, int n, int flags) {
        return real(f)->pMethods->xShmLock(real(f), offset, n, flags);
    },
    [](sqlite3_file* f) { real(f)->pMethods->xShmBarrier(real(f)); },
    [](sqlite3_file* f, int remove) { return real(f)->pMethods->xShmUnmap(real(f), remove); },
    [](sqlite3_file*, sqlite3_int64, int, void** out) {
        *out = nullptr; // no memory-mapped reads
        return SQLITE_OK;
    },
    [](sqlite3_file*, sqlite3_int64, void*) { return SQLITE_OK; },
};

} // namespace

FaultyDisk::FaultyDisk() {
    real_vfs = sqlite3_vfs_find(nullptr);
    shim_vfs = *real_vfs;
    shim_vfs.zName = "turnstone-faulty-disk";
    shim_vfs.szOsFile = static_cast<int>(sizeof(ShimFile)) + real_vfs->szOsFile;
    shim_vfs.xOpen = [](sqlite3_vfs*, const char* name, sqlite3_file* file, int flags, int* out_flags) {
        auto* shim = new (file) ShimFile{};
        if (name != nullptr) std::strncpy(shim->path, name, sizeof(shim->path) - 1);
        real(file)->pMethods = nullptr;
        const int code = real_vfs->xOpen(real_vfs, name, real(file), flags, out_flags);
        shim->base.pMethods = code == SQLITE_OK ? &kShimMethods : nullptr;
        return code;
    };
    shim_vfs.xDelete = [](sqlite3_vfs*, const char* name, int sync_directory) {
        const std::lock_guard lock(images_mutex);
        images.erase(std::filesystem::path(name).filename());
        return real_vfs->xDelete(real_vfs, name, sync_directory);
    };
    sqlite3_vfs_register(&shim_vfs, 1);
    write_code = SQLITE_OK;
    failing_write = -1;
    later_writes_fail = false;
    writes = 0;
}

FaultyDisk::~FaultyDisk() {
    sqlite3_vfs_unregister(&shim_vfs);
    sqlite3_vfs_register(real_vfs, 1);
    const std::lock_guard lock(images_mutex);
    images_kept = false;
    images.clear();
}

void FaultyDisk::fail_writes(int code) {
    write_code = code;
    failing_write = -1;
    later_writes_fail = false;
}

void FaultyDisk::fail_write_number(long operation, int code) {
    failing_write_code = code;
    writes = 0;
    failing_write = operation;
}

void FaultyDisk::fail_writes_from(long operation, int code) {
    fail_write_number(operation, code);
    later_writes_fail = true;
}

long FaultyDisk::writes_seen() const {
    return writes;
}

void FaultyDisk::keep_synced_images(const std::filesystem::path& directory) {
    const std::lock_guard lock(images_mutex);
    images_kept = true;
    for (const auto& entry : std::filesystem::directory_iterator(directory))
        if (entry.path().extension() == ".sqlite") images[entry.path().filename()] = test::read_file(entry.path());
}

void FaultyDisk::power_cut_image(const std::filesystem::path& target) const {
    std::filesystem::create_directories(target);
    const std::lock_guard lock(images_mutex);
    for (const auto& [name, content] : images) std::ofstream(target / name, std::ios::binary) << content;
}

} // namespace turnstone::record_test
