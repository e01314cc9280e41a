#pragma once
#include <cstdint>
#include <filesystem>
#include <mutex>
#include <optional>
#include <set>
#include <string>
#include <system_error>
#include <utility>

#include "server/record/format/layout.hpp"
#include "server/record/format/recording_id.hpp"
#include "server/record/format/sqlite.hpp"
#include "server/record/write/recording_claim.hpp"
#include "server/record/write/repair.hpp"

namespace turnstone {

/// Ids for the recordings of one recorder, unlike each other, those that were in the directory at its start, and those
/// of every other recorder that is at work there: the second one's name it as such. Where the directory cannot be
/// written to, another may still take one first: creating the file shows it. After its construction it never touches
/// the disk. Locks.
class RecordingIds {
  public:
    RecordingIds(const std::filesystem::path& directory, std::string vehicle) : vehicle_(std::move(vehicle)) {
        for (const std::filesystem::path& path : recording_files(directory)) taken_.insert(path.stem().string());
        try {
            std::error_code ignored; // taking the claim shows it
            std::filesystem::create_directories(directory, ignored);
            int recorder = 0;
            while (!claim_)
                claim_ = RecordingClaim::take(
                    directory / ("recorder-" + std::to_string(++recorder) + std::string(kRecordingEnding)));
            if (recorder > 1) vehicle_ += "-recorder-" + std::to_string(recorder);
        } catch (const SqliteError&) {
            return; // the recording's own file will meet the same, and say so
        }
    }

    [[nodiscard]] std::string next(std::int64_t utc_ns) {
        const std::lock_guard lock(mutex_);
        const std::string id = recording_id(utc_ns, vehicle_);
        std::string unique = id;
        for (int number = 2; !taken_.insert(unique).second; ++number) unique = id + "-" + std::to_string(number);
        return unique;
    }

  private:
    std::string vehicle_;
    std::optional<RecordingClaim> claim_; ///< of this recorder's number
    std::mutex mutex_;
    std::set<std::string> taken_;
};

} // namespace turnstone
