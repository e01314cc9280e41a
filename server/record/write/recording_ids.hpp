#pragma once
#include <cstdint>
#include <filesystem>
#include <mutex>
#include <set>
#include <string>
#include <utility>

#include "server/record/format/recording_id.hpp"

namespace turnstone {

/// Ids for the recordings of one recorder: unique in the directory and among those given out whose file is not made
/// yet. Locks.
class RecordingIds {
  public:
    RecordingIds(std::filesystem::path directory, std::string vehicle)
        : directory_(std::move(directory)), vehicle_(std::move(vehicle)) {}

    [[nodiscard]] std::string next(std::int64_t utc_start_ns) {
        const std::lock_guard lock(mutex_);
        const std::string id = make_recording_id(directory_, utc_start_ns, vehicle_);
        std::string unique = id;
        for (int number = 2; !given_.insert(unique).second; ++number) unique = id + "-" + std::to_string(number);
        return unique;
    }

  private:
    const std::filesystem::path directory_;
    const std::string vehicle_;
    std::mutex mutex_;
    std::set<std::string> given_;
};

} // namespace turnstone
