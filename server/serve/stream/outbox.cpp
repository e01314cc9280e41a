#include "server/serve/stream/outbox.hpp"

#include <algorithm>
#include <utility>

namespace turnstone {

void Outbox::push(Entry entry) {
    bytes_ += entry.message->size();
    queue_.push_back(std::move(entry));
}

void Outbox::keep(WireMessage message) {
    push({.message = std::move(message)});
}

void Outbox::open_with(WireMessage message) {
    opening_bytes_ += message->size();
    push({.message = std::move(message), .kind = Kind::opening});
}

std::size_t Outbox::opening_left() const noexcept {
    const bool first = !queue_.empty() && queue_.front().kind == Kind::opening;
    return opening_bytes_ - (first ? front_sent_ : 0);
}

bool Outbox::above_hard_limit() const noexcept {
    if (queue_.empty()) return false;
    const Entry& front = queue_.front();
    const std::size_t on_its_way = front.kind == Kind::opening ? 0 : front.message->size() - front_sent_;
    return bytes_ - opening_left() - on_its_way > limits_.hard_bytes;
}

void Outbox::status(WireMessage message) {
    for (std::size_t i = front_sent_ > 0 ? 1 : 0; i < queue_.size(); ++i) {
        if (queue_[i].kind != Kind::status) continue;
        bytes_ += message->size() - queue_[i].message->size();
        queue_[i].message = std::move(message);
        return;
    }
    push({.message = std::move(message), .kind = Kind::status});
}

void Outbox::live(std::span<const LiveMessage> messages) {
    // A viewer that has read everything gets all of a large tick; one that has not would only fall further behind.
    const std::size_t limit_bytes =
        queue_.empty() ? std::max(limits_.soft_bytes, limits_.hard_bytes / 2) : limits_.soft_bytes;
    for (const LiveMessage& message : messages)
        if (const auto* event = std::get_if<WireMessage>(&message))
            keep(*event);
        else
            block(std::get<BlockMessage>(message), limit_bytes);
}

void Outbox::block(const BlockMessage& message, std::size_t limit_bytes) {
    const Gap left_out{
        .from_seq = message.seq, .to_seq = message.seq, .from_t_s = message.from_t_s, .to_t_s = message.to_t_s};
    if (gap_) {
        extend_gap(left_out);
    } else if (queue_.empty() || bytes_ - opening_left() + message.wire->size() <= limit_bytes) {
        push({.message = message.wire,
              .kind = Kind::block,
              .seq = message.seq,
              .from_t_s = message.from_t_s,
              .to_t_s = message.to_t_s});
    } else {
        leave_blocks_out();
        extend_gap(left_out);
    }
}

void Outbox::gap(const Gap& missing) {
    if (gap_)
        extend_gap(missing);
    else
        keep(frame_message(Opcode::text, gap_text(missing)));
}

bool Outbox::behind_too_long(Clock::time_point now) const {
    return gap_ && now - behind_since_ > limits_.soft_time;
}

void Outbox::leave_blocks_out() {
    behind_since_ = Clock::now();
    ++counters_.fell_behind;
    std::deque<Entry> kept;
    for (std::size_t i = 0; i < queue_.size(); ++i) {
        Entry& entry = queue_[i];
        if (entry.kind == Kind::block && (i > 0 || front_sent_ == 0)) {
            extend_gap(
                {.from_seq = entry.seq, .to_seq = entry.seq, .from_t_s = entry.from_t_s, .to_t_s = entry.to_t_s});
            bytes_ -= entry.message->size();
        } else {
            kept.push_back(std::move(entry));
        }
    }
    queue_ = std::move(kept);
}

void Outbox::extend_gap(const Gap& more) {
    ++counters_.blocks_left_out;
    if (!gap_) {
        gap_ = more;
        return;
    }
    gap_->to_seq = more.to_seq;
    gap_->from_t_s = std::min(gap_->from_t_s, more.from_t_s);
    gap_->to_t_s = std::max(gap_->to_t_s, more.to_t_s);
}

void Outbox::catch_up(WireMessage newest_rows) {
    keep(frame_message(Opcode::text, gap_text(*gap_)));
    keep(std::move(newest_rows));
    gap_.reset();
    ++counters_.coalesced;
}

void Outbox::end_with(WireMessage message, bool all) {
    gap_.reset();
    while (queue_.size() > (front_sent_ > 0 ? 1u : 0u) &&
           (all || queue_.back().kind == Kind::status || queue_.back().kind == Kind::block)) {
        bytes_ -= queue_.back().message->size();
        if (queue_.back().kind == Kind::opening) opening_bytes_ -= queue_.back().message->size();
        queue_.pop_back();
    }
    keep(std::move(message));
}

void Outbox::clear() noexcept {
    queue_.clear();
    front_sent_ = bytes_ = opening_bytes_ = 0;
    gap_.reset();
}

std::span<iovec> Outbox::next(std::span<iovec> parts) const {
    const std::size_t count = std::min(queue_.size(), parts.size());
    for (std::size_t i = 0; i < count; ++i) {
        const std::string& bytes = *queue_[i].message;
        const std::size_t from = i == 0 ? front_sent_ : 0;
        // sendmsg takes pointers to non-const, but only reads.
        parts[i] = {const_cast<char*>(bytes.data()) + from, bytes.size() - from};
    }
    return parts.first(count);
}

void Outbox::sent(std::size_t bytes) {
    counters_.bytes_sent += bytes;
    bytes_ -= bytes;
    front_sent_ += bytes;
    while (!queue_.empty() && front_sent_ >= queue_.front().message->size()) {
        front_sent_ -= queue_.front().message->size();
        if (queue_.front().kind == Kind::opening) opening_bytes_ -= queue_.front().message->size();
        queue_.pop_front();
        ++counters_.messages_sent;
    }
}

} // namespace turnstone
