#pragma once
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>

#include "server/record/format/database_files.hpp"
#include "server/record/format/layout.hpp"
#include "server/record/format/recording_id.hpp"
#include "server/record/format/sqlite.hpp"
#include "server/record/write/recording_claim.hpp"
#include "server/record/write/recording_file.hpp"
#include "server/record/write/repair.hpp"

namespace turnstone {

/// A recording in the making, under a hidden name; what is left of it when this ends is removed.
class Unfinished {
  public:
    /// Throws SqliteError where nothing can be written, or where another process is at the same.
    Unfinished(const std::filesystem::path& directory, const std::string& id)
        : path_(directory / ("." + id + std::string(kUnfinishedEnding))), claim_(RecordingClaim::take(path_)) {
        if (!claim_) throw SqliteError(SQLITE_BUSY, "another process is at it; wait for that one");
        remove_database(path_); // of a process that was killed
    }
    ~Unfinished() { remove_database(path_); }
    Unfinished(const Unfinished&) = delete;
    Unfinished& operator=(const Unfinished&) = delete;
    [[nodiscard]] const std::filesystem::path& path() const noexcept { return path_; }
    /// Once it is whole: gives it a new id in its folder, and returns its path. Throws SqliteError.
    [[nodiscard]] std::filesystem::path publish(std::int64_t utc_start_ns, const std::string& vehicle) const {
        close_as_one_file();
        const std::filesystem::path folder = path_.parent_path();
        for (;;) {
            std::filesystem::path path =
                folder / (free_recording_id(folder, utc_start_ns, vehicle) + std::string(kRecordingEnding));
            try {
                publish_recording(path_, path);
                return path;
            } catch (const SqliteError&) {
                // Another took the id meanwhile: the next one is free.
                if (!std::filesystem::exists(path) || !std::filesystem::exists(path_)) throw;
            }
        }
    }
    void close_as_one_file() const {
        if (!make_single_file(path_))
            throw SqliteError(SQLITE_BUSY, path_.string() + " is held open by another program");
    }

  private:
    const std::filesystem::path path_;
    const std::optional<RecordingClaim> claim_;
};

} // namespace turnstone
