#include "server/record/write/recorder_queue.hpp"

#include <algorithm>
#include <new>
#include <utility>

#include "server/record/write/recording_fault.hpp"

namespace turnstone {

namespace {

std::size_t size_of(const Inputs& inputs) {
    std::size_t bytes = sizeof(Inputs) + inputs.chunks.size() * sizeof(ChunkRecord) + inputs.bytes.size();
    for (const ActionRecord& action : inputs.actions) bytes += sizeof(action) + to_json(action.action).size();
    return bytes;
}

std::size_t size_of(const Batch& batch) {
    std::size_t bytes = sizeof(Batch) + batch.frames.size() * sizeof(FrameRecord) +
                        batch.rows.size() * sizeof(RowRecord) + batch.numbers.size() * sizeof(double);
    for (const std::string& text : batch.texts) bytes += sizeof(std::string) + text.size();
    for (const Event& event : batch.events)
        bytes += sizeof(event) + event.key.size() + event.text.size() + event.values.size() * sizeof(EventValue);
    return bytes;
}

Drops drops_of(const RecorderCommand& command) {
    Drops drops;
    if (command.inputs) {
        drops.inputs = command.inputs->count();
        drops.bytes = command.inputs->bytes.size();
    }
    if (command.batch) drops.rows = command.batch->rows.size();
    return drops;
}

} // namespace

void RecorderQueue::put(RecorderCommand command) {
    const std::lock_guard lock(mutex_);
    if (command.kind == RecorderCommand::Kind::begin) {
        command.dropped_before = std::exchange(status_.dropped_here, {});
        begun_id_ = command.id;
    }
    urgent_ = urgent_ || command.kind != RecorderCommand::Kind::meta;
    command.came_at = Clock::now();
    commands_.push_back(std::move(command));
    came_.notify_one();
}

void RecorderQueue::put_inputs(std::shared_ptr<const Inputs> inputs, OwedReceipt receipt) {
    RecorderCommand command{.kind = RecorderCommand::Kind::inputs, .bytes = size_of(*inputs)};
    command.inputs = std::move(inputs);
    command.receipt = std::move(receipt);
    put_counted(std::move(command), bytes_max_ + bytes_max_ / 4);
}

void RecorderQueue::put_derived(std::shared_ptr<const Batch> batch, const Progress& progress, const std::string& id) {
    RecorderCommand command{.kind = RecorderCommand::Kind::derived, .bytes = size_of(*batch), .progress = progress};
    command.batch = std::move(batch);
    command.id = id;
    put_counted(std::move(command), bytes_max_);
}

void RecorderQueue::put_counted(RecorderCommand command, std::size_t limit) {
    command.came_at = Clock::now();
    const Drops drops = drops_of(command);
    const std::lock_guard lock(mutex_);
    if (command.id.empty()) command.id = begun_id_;
    bool kept = status_.queue_bytes + command.bytes <= limit;
    if (kept) {
        const std::size_t bytes = command.bytes;
        try {
            commands_.push_back(std::move(command));
            status_.queue_bytes += bytes;
            came_.notify_one();
        } catch (const std::bad_alloc&) {
            kept = false;
        }
    }
    if (kept) return;
    count(drops);
    // What could not be pushed has not been moved either. NOLINTNEXTLINE(bugprone-use-after-move)
    command.receipt.give("the disk is too slow for what comes in, and it was left out");
}

void RecorderQueue::count(const Drops& drops) noexcept {
    if (status_.lost) return;
    status_.dropped += drops;
    status_.dropped_here += drops;
}

void RecorderQueue::drop(const RecorderCommand& command) {
    const Drops drops = drops_of(command);
    const std::lock_guard lock(mutex_);
    status_.queue_bytes -= command.bytes;
    count(drops);
}

void RecorderQueue::set_oldest(Clock::time_point came_at) {
    const std::lock_guard lock(mutex_);
    oldest_taken_ = came_at;
}

bool RecorderQueue::flush(std::chrono::milliseconds timeout) {
    std::unique_lock lock(mutex_);
    const std::uint64_t ticket = ++flush_asked_;
    RecorderCommand command;
    command.kind = RecorderCommand::Kind::flush;
    command.ticket = ticket;
    commands_.push_back(std::move(command));
    urgent_ = true;
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
    RecorderStatus status = status_;
    Clock::time_point oldest = oldest_taken_;
    for (const RecorderCommand& command : commands_) {
        if (oldest != Clock::time_point{}) break;
        if (command.kind == RecorderCommand::Kind::inputs) oldest = command.came_at;
    }
    if (oldest != Clock::time_point{}) status.behind_s = std::chrono::duration<double>(Clock::now() - oldest).count();
    find_trouble(status);
    return status;
}

RecorderQueue::Taken RecorderQueue::take(Clock::time_point until, bool may_wake) {
    std::unique_lock lock(mutex_);
    came_.wait_until(lock, until, [&] { return stopped_ || urgent_ || (may_wake && !commands_.empty()); });
    urgent_ = false;
    Taken taken{.commands = std::exchange(commands_, {}), .stopped = stopped_};
    for (const RecorderCommand& command : taken.commands) {
        if (oldest_taken_ != Clock::time_point{}) break;
        if (command.kind == RecorderCommand::Kind::inputs) oldest_taken_ = command.came_at;
    }
    return taken;
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
