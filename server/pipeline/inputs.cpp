#include "server/pipeline/inputs.hpp"

#include <algorithm>

namespace turnstone {

void Inputs::clear() noexcept {
    chunks.clear();
    bytes.clear();
    actions.clear();
}

std::int64_t InputCounter::reach(std::int64_t t_ns) noexcept {
    latest_ns_ = std::max(latest_ns_, t_ns);
    return latest_ns_;
}

void InputCounter::chunk(LinkId link, std::int64_t t_rx_ns, std::int64_t utc_rx_ns, std::span<const std::byte> bytes,
                         Inputs& out, bool carried) {
    std::uint64_t& offset = stream_bytes_.at(link);
    out.chunks.push_back(
        {.input = inputs_++,
         .link = link,
         .t_rx_ns = reach(t_rx_ns),
         .utc_rx_ns = utc_rx_ns,
         .stream_offset = offset,
         .carried = carried,
         .bytes = {static_cast<std::uint32_t>(out.bytes.size()), static_cast<std::uint32_t>(bytes.size())}});
    out.bytes.insert(out.bytes.end(), bytes.begin(), bytes.end());
    offset += bytes.size();
}

void InputCounter::action(std::int64_t t_ns, const Action& action, Inputs& out) {
    out.actions.push_back({.input = inputs_++, .t_ns = reach(t_ns), .action = action});
}

} // namespace turnstone
