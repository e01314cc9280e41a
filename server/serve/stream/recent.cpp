#include "server/serve/stream/recent.hpp"

#include <utility>
#include <variant>

namespace turnstone {
namespace {

constexpr std::int64_t kSpanNs = 5'000'000'000;
constexpr std::size_t kRecentBytesMax = 4u << 20; // five seconds of 480 channels at 250 Hz; kept once for all viewers

std::size_t bytes_of(const LiveMessage& message) {
    if (const auto* event = std::get_if<WireMessage>(&message)) return (*event)->size();
    return std::get<BlockMessage>(message).wire->size();
}

} // namespace

void Recent::add(LiveMessage message, std::int64_t t_ns) {
    bytes_ += bytes_of(message);
    entries_.push_back({std::move(message), t_ns});
    while (entries_.front().t_ns < t_ns - kSpanNs || bytes_ > kRecentBytesMax) {
        bytes_ -= bytes_of(entries_.front().message);
        entries_.pop_front();
        if (entries_.empty()) return;
    }
}

void Recent::clear() noexcept {
    entries_.clear();
    bytes_ = 0;
}

std::vector<LiveMessage> Recent::messages() const {
    std::vector<LiveMessage> out;
    out.reserve(entries_.size());
    for (const Entry& entry : entries_) out.push_back(entry.message);
    return out;
}

} // namespace turnstone
