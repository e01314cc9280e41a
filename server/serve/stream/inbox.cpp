#include "server/serve/stream/inbox.hpp"

#include <algorithm>
#include <utility>

namespace turnstone {
namespace {

/// Flushes come every 10 ms: when this many wait, the serve thread has stalled for twenty seconds.
constexpr std::size_t kItemsMax = 2000;

void count(const Batch& batch, Inbox::Overflow& overflow) {
    if (batch.rows.empty()) return;
    ++overflow.batches;
    for (const RowRecord& row : batch.rows) {
        if (overflow.from_ns == 0) overflow.from_ns = overflow.to_ns = row.t_ns;
        overflow.from_ns = std::min(overflow.from_ns, row.t_ns);
        overflow.to_ns = std::max(overflow.to_ns, row.t_ns);
    }
}

} // namespace

bool Inbox::put(LiveTape tape) {
    const std::lock_guard lock(mutex_);
    const bool was_empty = contents_.items.empty();
    contents_.items.emplace_back(std::move(tape));
    contents_.overflow = {}; // of the tape before, whose head no viewer follows any more
    return was_empty;
}

bool Inbox::put(std::shared_ptr<const Batch> batch) {
    const std::lock_guard lock(mutex_);
    const bool was_empty = contents_.items.empty();
    if (contents_.items.size() < kItemsMax) {
        contents_.items.emplace_back(std::move(batch));
        return was_empty;
    }
    // Rows can be loaded from the recording; events are kept whatever happens.
    count(*batch, contents_.overflow);
    if (!batch->events.empty()) {
        auto events = std::make_shared<Batch>();
        events->events = batch->events;
        contents_.items.emplace_back(std::shared_ptr<const Batch>(std::move(events)));
    }
    return was_empty;
}

Inbox::Contents Inbox::take() {
    const std::lock_guard lock(mutex_);
    return std::exchange(contents_, {});
}

} // namespace turnstone
