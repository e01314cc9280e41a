#include <array>
#include <fstream>

#include "server/record/read/reader_state.hpp"
#include "server/record/write/recording_claim.hpp"

namespace turnstone {

namespace {

constexpr std::size_t kHeaderBytes = 32;

/// The beginning of a file. A live recording is never opened here: closing any descriptor of a file gives up this
/// process's POSIX locks on it, the writer's among them (sqlite.org/howtocorrupt, 2.2).
std::optional<std::array<unsigned char, kHeaderBytes>> header_of(const std::filesystem::path& path) {
    std::array<unsigned char, kHeaderBytes> header{};
    std::ifstream file(path, std::ios::binary);
    if (!file.read(reinterpret_cast<char*>(header.data()), header.size()) || header[0] != 'S') return std::nullopt;
    return header;
}

/// Nothing is in the write-ahead file beside it, or there is none.
bool is_alone(const std::filesystem::path& path) {
    std::error_code none;
    const auto log_bytes = std::filesystem::file_size(path.string() + "-wal", none);
    return none || log_bytes == 0;
}

/// What is wrong with a recording that has no write-ahead file: it ends before the size that its header gives (SQLite
/// file format, 1.3: page size at offset 16, size in pages at 28, both big-endian), which SQLite itself would only call
/// malformed; or its header says that there was one (2 at offset 19). Neither: empty.
struct Lack {
    std::uint64_t missing_bytes = 0;
    bool wants_log = false;
};
Lack lack_of(const std::filesystem::path& path) {
    Lack lack;
    if (!is_alone(path) || RecordingClaim::is_held(path)) return lack;
    const auto header = header_of(path);
    if (!header) return lack;
    const std::uint64_t stored = (*header)[16] * 256U + (*header)[17];
    const std::uint64_t page_bytes = stored == 1 ? 65536 : stored;
    std::uint64_t pages = 0;
    for (std::size_t i = 28; i < 32; ++i) pages = pages << 8 | (*header)[i];
    std::error_code error;
    const std::uint64_t size = std::filesystem::file_size(path, error);
    if (!error && size < pages * page_bytes) lack.missing_bytes = pages * page_bytes - size;
    lack.wants_log = (*header)[19] == 2;
    return lack;
}

} // namespace

Result<RecordingReader> RecordingReader::open(const std::filesystem::path& path, ReadMode mode) {
    std::error_code error;
    if (!std::filesystem::is_regular_file(path, error)) {
        return fail(path.string() + ": no such file; give the path of a recording (*" + std::string(kRecordingEnding) +
                    ")");
    }
    if (std::filesystem::file_size(path, error) == 0)
        return fail(path.string() + ": the file is empty; a recording is expected");
    const bool passing_over_damage = mode == ReadMode::as_far_as_it_goes;
    const Lack lack = lack_of(path); // before SQLite makes an empty write-ahead file
    if (lack.missing_bytes > 0 && !passing_over_damage) {
        return fail(path.string() + ": the file is cut short by " + std::to_string(lack.missing_bytes) +
                    " bytes; copy it again, or make a recording of what is whole: turnstone reprocess " +
                    path.string());
    }
    try {
        auto state = std::make_unique<State>(path, passing_over_damage);
        const std::int64_t application = state->database.integer("PRAGMA application_id");
        if (application != kApplicationId) {
            return fail(path.string() + ": a SQLite file, but not a recording (application_id " +
                        std::to_string(application) + ", a recording has " + std::to_string(kApplicationId) + ")");
        }
        const std::int64_t version = state->database.integer("PRAGMA user_version");
        if (!is_readable(state->database)) {
            return fail(path.string() + ": layout version " + std::to_string(version) +
                        "; this program reads versions " + std::to_string(kLayoutVersionOldest) + " to " +
                        std::to_string(kLayoutVersion) + ": open it with the Turnstone that wrote it");
        }
        state->tables = read_tables(state->database);
        for (std::size_t i = 0; i < state->tables.size(); ++i) {
            if (state->tables[i].table.id != i)
                return fail(path.string() + ": its list of series has a gap at " + std::to_string(i));
            state->schema.tables.push_back(state->tables[i].table);
        }
        if (lack.missing_bytes > 0)
            state->damage = "cut short by " + std::to_string(lack.missing_bytes) + " bytes";
        else if (lack.wants_log && state->meta("ended").empty())
            state->damage = "it was not closed, and has no write-ahead file beside it: what was received last may be "
                            "missing; if this is a copy, copy " +
                            path.filename().string() + "-wal too";
        return RecordingReader(std::move(state));
    } catch (const std::exception& failure) {
        return fail(path.string() + ": cannot be read as a recording: " + failure.what());
    }
}

} // namespace turnstone
