#include "server/serve/recording_list.hpp"

#include <algorithm>
#include <functional>
#include <utility>

#include "server/record/read/catalogue.hpp"
#include "server/record/write/repair.hpp"

namespace turnstone {

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
        const FileStamp stamp = stamp_of(path);
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
