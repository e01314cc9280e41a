#pragma once
#include <cstdint>
#include <filesystem>
#include <mutex>
#include <set>
#include <string>
#include <utility>

#include "server/record/format/recording_id.hpp"
#include "server/record/write/repair.hpp"

namespace turnstone {

/// Ids for the recordings of one recorder, unlike each other and those that were in the directory at its start. Another
/// server may still take one first: creating the file shows it. Never touches the disk again. Locks.
class RecordingIds {
  public:
    RecordingIds(const std::filesystem::path& directory, std::string vehicle) : vehicle_(std::move(vehicle)) {
        for (const std::filesystem::path& path : recording_files(directory)) taken_.insert(path.stem().string());
    }

    [[nodiscard]] std::string next(std::int64_t utc_ns) {
        const std::lock_guard lock(mutex_);
        const std::string id = recording_id(utc_ns, vehicle_);
        std::string unique = id;
        for (int number = 2; !taken_.insert(unique).second; ++number) unique = id + "-" + std::to_string(number);
        return unique;
    }

  private:
    const std::string vehicle_;
    std::mutex mutex_;
    std::set<std::string> taken_;
};

} // namespace turnstone
