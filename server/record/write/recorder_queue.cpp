#include "server/record/write/recorder_queue.hpp"

#include <algorithm>
#include <new>
#include <utility>

namespace turnstone {

namespace {

std::size_t size_of(const Batch& batch) {
    std::size_t bytes = sizeof(Batch) + batch.chunks.size() * sizeof(ChunkRecord) + batch.bytes.size() +
                        batch.frames.size() * sizeof(FrameRecord) + batch.rows.size() * sizeof(RowRecord) +
                        batch.numbers.size() * sizeof(double);
    for (const ActionRecord& action : batch.actions) bytes += sizeof(action) + to_json(action.action).size();
    for (const std::string& text : batch.texts) bytes += sizeof(std::string) + text.size();
    for (const Event& event : batch.events)
        bytes += sizeof(event) + event.key.size() + event.text.size() + event.values.size() * sizeof(EventValue);
    return bytes;
}

/// Inputs and events are a tenth of the batch, and the rest can be made from them again.
std::shared_ptr<const Batch> without_rows(const Batch& batch) {
    auto raw = std::make_shared<Batch>();
    raw->chunks = batch.chunks;
    raw->bytes = batch.bytes;
    raw->actions = batch.actions;
    raw->events = batch.events;
    return raw;
}

} // namespace

void RecorderQueue::put(RecorderCommand command) {
    const std::lock_guard lock(mutex_);
    commands_.push_back(std::move(command));
    came_.notify_one();
}

void RecorderQueue::put_batch(std::shared_ptr<const Batch> batch) {
    const std::size_t raw_bytes = batch->bytes.size();
    const auto drop = [&] {
        status_.batches_dropped += 1;
        status_.bytes_dropped += raw_bytes;
    };
    try {
        RecorderCommand command;
        command.bytes = size_of(*batch);
        const std::lock_guard lock(mutex_);
        std::size_t rows_dropped = 0;
        if (status_.queue_bytes + command.bytes > bytes_max_) {
            auto raw = without_rows(*batch);
            command.bytes = size_of(*raw);
            if (status_.queue_bytes + command.bytes > bytes_max_ + bytes_max_ / 4) {
                drop();
                return;
            }
            rows_dropped = batch->rows.size();
            batch = std::move(raw);
        }
        const std::size_t bytes = command.bytes;
        command.batch = std::move(batch);
        commands_.push_back(std::move(command));
        status_.queue_bytes += bytes;
        status_.rows_dropped += rows_dropped;
        came_.notify_one();
    } catch (const std::bad_alloc&) {
        const std::lock_guard lock(mutex_);
        drop();
    }
}

bool RecorderQueue::flush(std::chrono::milliseconds timeout) {
    std::unique_lock lock(mutex_);
    const std::uint64_t ticket = ++flush_asked_;
    RecorderCommand command;
    command.kind = RecorderCommand::Kind::flush;
    command.ticket = ticket;
    commands_.push_back(std::move(command));
    came_.notify_one();
    return done_.wait_for(lock, timeout, [&] { return flush_done_ >= ticket; });
}

void RecorderQueue::stop() {
    const std::lock_guard lock(mutex_);
    stopped_ = true;
    came_.notify_all();
}

RecorderStatus RecorderQueue::status() const {
    const std::lock_guard lock(mutex_);
    return status_;
}

RecorderQueue::Taken RecorderQueue::take(Clock::time_point until, bool may_wake) {
    std::unique_lock lock(mutex_);
    came_.wait_until(lock, until, [&] { return stopped_ || (may_wake && !commands_.empty()); });
    return {.commands = std::exchange(commands_, {}), .stopped = stopped_};
}

void RecorderQueue::flushed(std::uint64_t ticket) {
    const std::lock_guard lock(mutex_);
    flush_done_ = std::max(flush_done_, ticket);
    done_.notify_all();
}

void RecorderQueue::let_go() {
    const std::lock_guard lock(mutex_);
    flush_done_ = flush_asked_;
    done_.notify_all();
}

} // namespace turnstone
