#include "server/record/read/recording_bytes.hpp"

#include <utility>

#include "server/record/format/sqlite.hpp"

namespace turnstone {

struct RecordingBytes::State {
    explicit State(const std::filesystem::path& path) : database(path, Database::Mode::read_only) {}
    Database database;
    sqlite3_file* file = nullptr;
    std::uint64_t size = 0;
};

RecordingBytes::RecordingBytes(std::unique_ptr<State> state) : state_(std::move(state)) {}
RecordingBytes::RecordingBytes(RecordingBytes&&) noexcept = default;
RecordingBytes& RecordingBytes::operator=(RecordingBytes&&) noexcept = default;
RecordingBytes::~RecordingBytes() = default;

Result<RecordingBytes> RecordingBytes::open(const std::filesystem::path& path) {
    try {
        auto state = std::make_unique<State>(path);
        Database& database = state->database;
        database.execute("BEGIN"); // never ended: closing the connection does that
        static_cast<void>(database.integer("SELECT count(*) FROM sqlite_schema")); // takes the lock
        if (database.text("PRAGMA journal_mode") != "delete")
            return fail(path.string() + ": part of this recording is in its write-ahead file; copy it instead");
        sqlite3_int64 size = 0;
        if (sqlite3_file_control(database.handle(), "main", SQLITE_FCNTL_FILE_POINTER, &state->file) != SQLITE_OK ||
            state->file == nullptr || state->file->pMethods->xFileSize(state->file, &size) != SQLITE_OK)
            database.raise(SQLITE_IOERR, "reading " + path.string());
        state->size = static_cast<std::uint64_t>(size);
        return RecordingBytes(std::move(state));
    } catch (const std::exception& failure) {
        return fail(path.string() + ": cannot be sent: " + failure.what());
    }
}

std::uint64_t RecordingBytes::size() const noexcept {
    return state_->size;
}

bool RecordingBytes::read(std::uint64_t offset, std::span<char> into) {
    return state_->file->pMethods->xRead(state_->file, into.data(), static_cast<int>(into.size()),
                                         static_cast<sqlite3_int64>(offset)) == SQLITE_OK;
}

} // namespace turnstone
