#include "server/ingest/input_queue.hpp"

#include <algorithm>
#include <utility>

#include "shared/time.hpp"

namespace turnstone {

namespace {

std::size_t memory_of(const Inputs& inputs) {
    return sizeof(Inputs) + inputs.bytes.size() + inputs.chunks.size() * sizeof(ChunkRecord) +
           inputs.actions.size() * sizeof(ActionRecord);
}

std::uint64_t first_of(const Inputs& inputs) {
    if (inputs.chunks.empty()) return inputs.actions.front().input;
    if (inputs.actions.empty()) return inputs.chunks.front().input;
    return std::min(inputs.chunks.front().input, inputs.actions.front().input);
}

} // namespace

void InputQueue::put(Received what, std::int64_t t_ns) {
    const std::lock_guard lock(mutex_);
    if (auto* inputs = std::get_if<std::shared_ptr<const Inputs>>(&what))
        put_inputs(std::move(*inputs), t_ns);
    else if (std::holds_alternative<TimePassed>(what) && !items_.empty() &&
             std::holds_alternative<TimePassed>(items_.back().what))
        items_.back().what = std::move(what);
    else
        items_.push_back({std::move(what), t_ns});
    came_.notify_one();
}

void InputQueue::put_inputs(std::shared_ptr<const Inputs> inputs, std::int64_t t_ns) {
    if (inputs->empty()) return;
    // Behind inputs that are in the file come others that are, or a time that they bring themselves.
    const auto is_stored = [&](std::size_t from_back) {
        return items_.size() > from_back &&
               std::holds_alternative<StoredInputs>(items_[items_.size() - 1 - from_back].what);
    };
    if (is_stored(1) && std::holds_alternative<TimePassed>(items_.back().what)) items_.pop_back();
    if (is_stored(0) || kept_bytes_ + memory_of(*inputs) > kept_bytes_max_) {
        leave_to_file(*inputs, t_ns);
        return;
    }
    kept_bytes_ += memory_of(*inputs);
    items_.push_back({std::move(inputs), t_ns});
}

void InputQueue::leave_to_file(const Inputs& inputs, std::int64_t t_ns) {
    auto* stored = items_.empty() ? nullptr : std::get_if<StoredInputs>(&items_.back().what);
    if (stored == nullptr) {
        items_.push_back({StoredInputs{first_of(inputs), 0}, t_ns});
        stored = &std::get<StoredInputs>(items_.back().what);
    }
    stored->count += inputs.count();
}

void InputQueue::stop() {
    const std::lock_guard lock(mutex_);
    stopped_ = true;
    came_.notify_one();
}

std::optional<Received> InputQueue::take() {
    std::unique_lock lock(mutex_);
    came_.wait(lock, [this] { return stopped_ || !items_.empty(); });
    if (items_.empty()) return std::nullopt;
    Received& front = items_.front().what;
    if (auto* stored = std::get_if<StoredInputs>(&front); stored != nullptr && stored->count > kStoredAtOnce) {
        const StoredInputs some{stored->first, kStoredAtOnce};
        stored->first += kStoredAtOnce;
        stored->count -= kStoredAtOnce;
        return some;
    }
    Received what = std::move(front);
    items_.pop_front();
    if (const auto* inputs = std::get_if<std::shared_ptr<const Inputs>>(&what)) kept_bytes_ -= memory_of(**inputs);
    return what;
}

bool InputQueue::idle() const {
    const std::lock_guard lock(mutex_);
    return items_.empty();
}

void InputQueue::reached(std::int64_t t_ns) {
    const std::lock_guard lock(mutex_);
    if (!items_.empty() && std::holds_alternative<StoredInputs>(items_.front().what)) items_.front().t_ns = t_ns;
}

InputQueue::Backlog InputQueue::backlog(std::int64_t now_ns) const {
    const std::lock_guard lock(mutex_);
    if (items_.empty()) return {0, 0};
    return {std::max(0.0, seconds_between(items_.front().t_ns, now_ns)), kept_bytes_};
}

} // namespace turnstone
