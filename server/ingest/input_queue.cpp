#include "server/ingest/input_queue.hpp"

#include <algorithm>
#include <utility>

#include "shared/time.hpp"

namespace turnstone {

namespace {

std::size_t bytes_of(const Received& what) {
    const auto* inputs = std::get_if<std::shared_ptr<const Inputs>>(&what);
    return inputs == nullptr ? 0 : (*inputs)->bytes.size();
}

} // namespace

void InputQueue::put(Received what, std::int64_t t_ns) {
    const std::lock_guard lock(mutex_);
    bytes_ += bytes_of(what);
    items_.push_back({std::move(what), t_ns});
    came_.notify_one();
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
    Received what = std::move(items_.front().what);
    items_.pop_front();
    bytes_ -= bytes_of(what);
    return what;
}

bool InputQueue::idle() const {
    const std::lock_guard lock(mutex_);
    return items_.empty();
}

InputQueue::Backlog InputQueue::backlog(std::int64_t now_ns) const {
    const std::lock_guard lock(mutex_);
    if (items_.empty()) return {0, 0};
    return {std::max(0.0, seconds_between(items_.front().t_ns, now_ns)), bytes_};
}

} // namespace turnstone
