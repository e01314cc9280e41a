#include "server/record/read/frame_bytes.hpp"

#include <algorithm>

#include "server/record/format/stored_row.hpp"

namespace turnstone {

FrameBytes::FrameBytes(Database& database)
    : base_ns_(time_base_ns(database)), search_(database, "chunk", "input", "t_rx_ns"),
      frame_before_(database, "SELECT t_rx_ns FROM frame WHERE id < ? AND link = ? ORDER BY id DESC LIMIT 1"),
      chunks_(database, "SELECT input, t_rx_ns, stream_offset, length(bytes), substr(bytes, 1 + max(0, ?3 - "
                        "stream_offset), ?4) FROM chunk WHERE input >= ?1 AND link = ?2 ORDER BY input") {}

std::int64_t FrameBytes::first_input(std::int64_t id, const FrameRecord& frame) {
    const auto known = inputs_.find(frame.link);
    if (known != inputs_.end()) return known->second;
    frame_before_.bind(1, id);
    frame_before_.bind(2, std::int64_t{frame.link});
    std::int64_t input = 0;
    if (frame_before_.step()) input = search_.place_of(frame_before_.integer(0)).before + 1;
    frame_before_.reset();
    return input;
}

std::vector<std::byte> FrameBytes::of(std::int64_t id, const FrameRecord& frame) {
    std::vector<std::byte> bytes;
    const auto begin = static_cast<std::int64_t>(frame.stream_offset);
    const std::int64_t end = begin + frame.link_bytes;
    const std::size_t wanted = std::min<std::size_t>(frame.link_bytes, kFrameBytesGiven);
    std::int64_t input = first_input(id, frame);
    chunks_.bind(1, input);
    chunks_.bind(2, std::int64_t{frame.link});
    chunks_.bind(3, begin);
    chunks_.bind(4, static_cast<std::int64_t>(wanted));
    while (chunks_.step() && station_time_ns(chunks_.integer(1), base_ns_) <= frame.t_rx_ns) {
        const std::int64_t offset = chunks_.integer(2);
        if (offset >= end) break;
        input = chunks_.integer(0);
        if (offset + chunks_.integer(3) <= begin) continue;
        const auto part = chunks_.blob(4);
        const auto room = static_cast<std::size_t>(
            std::min<std::int64_t>(static_cast<std::int64_t>(wanted - bytes.size()), end - std::max(begin, offset)));
        bytes.insert(bytes.end(), part.begin(),
                     part.begin() + static_cast<std::ptrdiff_t>(std::min(room, part.size())));
        if (bytes.size() == wanted) break;
    }
    chunks_.reset();
    inputs_[frame.link] = input;
    return bytes;
}

} // namespace turnstone
