#include "server/serve/recording_list.hpp"

#include <algorithm>
#include <functional>
#include <system_error>
#include <utility>

#include "server/record/read/catalogue.hpp"
#include "server/record/write/repair.hpp"

namespace turnstone {

RecordingList::Stamp RecordingList::stamp_of(const std::filesystem::path& path) {
    const std::filesystem::path wal = path.string() + "-wal";
    std::error_code ignored; // a file that is gone has the stamp of none
    Stamp stamp;
    stamp.bytes = std::filesystem::file_size(path, ignored);
    stamp.written = std::filesystem::last_write_time(path, ignored);
    stamp.wal_bytes = std::filesystem::file_size(wal, ignored);
    stamp.wal_written = std::filesystem::last_write_time(wal, ignored);
    return stamp;
}

std::vector<RecordingInfo> RecordingList::page(const std::string& before, std::size_t limit) {
    std::vector<std::filesystem::path> paths = recording_files(folder_);
    const std::lock_guard lock(mutex_);
    std::erase_if(known_, [&](const auto& entry) { return !std::ranges::binary_search(paths, entry.first); });
    // Ids begin with the UTC start, so that their order is that of time, also where a damaged file does not tell it.
    std::ranges::sort(paths, std::greater(), [](const std::filesystem::path& path) { return path.stem().string(); });
    std::vector<RecordingInfo> found;
    for (const std::filesystem::path& path : paths) {
        if (found.size() == limit) break;
        if (!before.empty() && path.stem().string() >= before) continue;
        const Stamp stamp = stamp_of(path);
        const auto known = known_.find(path);
        if (known == known_.end() || known->second.stamp != stamp) {
            known_.insert_or_assign(path, Known{stamp, recording_info(path)});
            ++opened_;
        }
        found.push_back(known_.at(path).info);
    }
    return found;
}

std::uint64_t RecordingList::opened() const {
    const std::lock_guard lock(mutex_);
    return opened_;
}

} // namespace turnstone
