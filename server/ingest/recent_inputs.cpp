#include "server/ingest/recent_inputs.hpp"

#include <utility>

namespace turnstone {

namespace {

/// Half an hour of a link at a megabit a second.
constexpr std::size_t kBytesMax = 64u << 20;

std::size_t size_of(const Inputs& inputs) {
    return sizeof(Inputs) + inputs.chunks.size() * sizeof(ChunkRecord) + inputs.bytes.size();
}

} // namespace

void RecentInputs::add(std::shared_ptr<const Inputs> inputs) {
    if (inputs->chunks.empty()) return;
    bytes_ += size_of(*inputs);
    kept_.push_back(std::move(inputs));
}

void RecentInputs::forget_before(std::int64_t t_ns) {
    while (!kept_.empty() && (kept_.front()->chunks.back().t_rx_ns < t_ns || bytes_ > kBytesMax)) {
        bytes_ -= size_of(*kept_.front());
        kept_.pop_front();
    }
}

void RecentInputs::put_before(RecentInputs earlier) {
    bytes_ += earlier.bytes_;
    kept_.insert(kept_.begin(), earlier.kept_.begin(), earlier.kept_.end());
}

} // namespace turnstone
