#pragma once
/// The recordings of a folder, newest first. What a file says of itself is kept until its size or times change, or
/// those of its write-ahead file: hundreds of recordings are listed without opening one. For workers; may be used from
/// any thread.
#include <cstdint>
#include <filesystem>
#include <map>
#include <mutex>
#include <string>
#include <vector>

#include "server/record/format/file_stamp.hpp"
#include "server/record/read/reader.hpp"

namespace turnstone {

class RecordingList {
  public:
    explicit RecordingList(std::filesystem::path folder) : folder_(std::move(folder)) {}

    /// Recordings older than `before` (an id; empty: from the newest on), at most `limit`.
    [[nodiscard]] std::vector<RecordingInfo> page(const std::string& before, std::size_t limit);
    /// How often a file was opened since the start.
    [[nodiscard]] std::uint64_t opened() const;

  private:
    struct Known {
        FileStamp stamp;
        RecordingInfo info;
    };

    const std::filesystem::path folder_;
    mutable std::mutex mutex_; ///< guards the rest; held while files are opened, so that none is opened twice
    std::map<std::filesystem::path, Known> known_;
    std::uint64_t opened_ = 0;
};

} // namespace turnstone
