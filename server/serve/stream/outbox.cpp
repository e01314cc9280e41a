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

void Outbox::status(WireMessage message) {
    for (std::size_t i = front_sent_ > 0 ? 1 : 0; i < queue_.size(); ++i) {
        if (queue_[i].kind != Kind::status) continue;
        bytes_ += message->size() - queue_[i].message->size();
        queue_[i].message = std::move(message);
        return;
    }
    push({.message = std::move(message), .kind = Kind::status});
}

void Outbox::block(const WireMessage& message, std::uint64_t seq, double from_t_s, double to_t_s) {
    const Gap left_out{.from_seq = seq, .to_seq = seq, .from_t_s = from_t_s, .to_t_s = to_t_s};
    if (gap_) {
        extend_gap(left_out);
    } else if (queue_.empty() || bytes_ + message->size() <= limits_.soft_bytes) {
        // A message larger than the limit still goes to a viewer that keeps up.
        push({.message = message, .kind = Kind::block, .seq = seq, .from_t_s = from_t_s, .to_t_s = to_t_s});
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
    while (queue_.size() > (front_sent_ > 0 ? 1u : 0u) && (all || queue_.back().kind != Kind::kept)) {
        bytes_ -= queue_.back().message->size();
        queue_.pop_back();
    }
    keep(std::move(message));
}

void Outbox::clear() noexcept {
    queue_.clear();
    front_sent_ = bytes_ = 0;
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
        queue_.pop_front();
        ++counters_.messages_sent;
    }
}

} // namespace turnstone
