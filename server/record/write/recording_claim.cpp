#include "server/record/write/recording_claim.hpp"

#include <cerrno>
#include <chrono>
#include <cstring>
#include <thread>

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "server/record/format/sqlite.hpp"

namespace turnstone {

namespace {

/// Who looks whether a lock is held holds it for a moment. One that stays is another writer's.
constexpr int kTries = 20;
constexpr std::chrono::milliseconds kTryAgain{1};

std::filesystem::path lock_file(const std::filesystem::path& recording) {
    return recording.parent_path() / ("." + recording.filename().string() + ".lock");
}

} // namespace

bool RecordingClaim::is_held(const std::filesystem::path& recording) noexcept {
    const int descriptor = ::open(lock_file(recording).c_str(), O_RDONLY | O_CLOEXEC);
    if (descriptor < 0) return false;
    const bool held = ::flock(descriptor, LOCK_SH | LOCK_NB) != 0 && errno == EWOULDBLOCK;
    ::close(descriptor);
    return held;
}

std::optional<RecordingClaim> RecordingClaim::take(const std::filesystem::path& recording) {
    const std::filesystem::path path = lock_file(recording);
    for (int tries = 1;; ++tries) {
        const int descriptor = ::open(path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0644);
        if (descriptor < 0)
            throw SqliteError(errno == ENOSPC  ? SQLITE_FULL
                              : errno == EROFS ? SQLITE_READONLY
                                               : SQLITE_CANTOPEN,
                              path.string() + ": " + std::strerror(errno));
        RecordingClaim claim(path, descriptor);
        if (::flock(descriptor, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK) {
            claim.path_.clear(); // it is the other's
            if (tries == kTries) return std::nullopt;
            std::this_thread::sleep_for(kTryAgain);
            continue;
        }
        // The one before may have removed the file between our opening and locking it.
        struct stat ours {
        }, named{};
        if (::fstat(descriptor, &ours) == 0 && ::stat(path.c_str(), &named) == 0 && ours.st_ino == named.st_ino)
            return claim;
        claim.path_.clear();
    }
}

RecordingClaim::~RecordingClaim() {
    if (descriptor_ < 0) return;
    if (!path_.empty()) ::unlink(path_.c_str());
    ::close(descriptor_);
}

} // namespace turnstone
