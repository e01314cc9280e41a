#include "server/link/retrying_link.hpp"

#include <algorithm>

namespace turnstone {

namespace {
constexpr std::int64_t kSilentAfterNs = std::chrono::nanoseconds(kSilentAfter).count();
} // namespace

RetryingLink::RetryingLink(boost::asio::io_context& context, LinkHandler handler)
    : context_(context), handler_(std::move(handler)), retry_timer_(context), silence_timer_(context) {}

void RetryingLink::start() {
    handler_.on_state(station_now_ns(), state_, detail_);
    open();
}

void RetryingLink::stop() {
    stopped_ = true;
    retry_timer_.cancel();
    silence_timer_.cancel();
    close();
}

void RetryingLink::set_state(LinkState state, const std::string& detail) {
    if (state == state_ && detail == detail_) return;
    state_ = state;
    detail_ = detail;
    handler_.on_state(station_now_ns(), state_, detail_);
}

void RetryingLink::opened() {
    was_open_ = true;
    t_open_ns_ = t_heard_ns_ = station_now_ns();
    set_state(LinkState::open, "");
    // A callback may have stopped the link.
    if (!stopped_) {
        watch_silence();
        read();
    }
}

void RetryingLink::refused(const std::string& why) {
    // A link that once worked stays "lost" while it cannot be opened again: that is what the operator must
    // mend.
    set_state(was_open_ ? LinkState::lost : LinkState::cannot_open, why);
    retry();
}

void RetryingLink::lost(const std::string& why) {
    silence_timer_.cancel();
    if (t_heard_ns_ > t_open_ns_ || station_now_ns() - t_open_ns_ > kSilentAfterNs) retry_delay_ = kRetryMin;
    set_state(LinkState::lost, why);
    retry();
}

void RetryingLink::ended() {
    silence_timer_.cancel();
    close();
    set_state(LinkState::end_of_file, "");
}

void RetryingLink::received(std::span<const std::byte> bytes) {
    const std::int64_t t_rx_ns = station_now_ns();
    t_heard_ns_ = t_rx_ns;
    if (state_ == LinkState::no_data) {
        set_state(LinkState::open, "");
        watch_silence();
    }
    if (!stopped_) handler_.on_bytes(t_rx_ns, utc_now_ns(), bytes);
}

void RetryingLink::retry() {
    close();
    if (stopped_) return;
    retry_timer_.expires_after(retry_delay_);
    retry_delay_ = std::min(retry_delay_ * 2, kRetryMax);
    retry_timer_.async_wait([self = shared_from_this()](const boost::system::error_code& error) {
        if (!error && !self->stopped_) self->open();
    });
}

void RetryingLink::watch_silence() {
    const std::int64_t left_ns = t_heard_ns_ + kSilentAfterNs - station_now_ns();
    silence_timer_.expires_after(std::chrono::nanoseconds(std::max<std::int64_t>(left_ns, 0)));
    silence_timer_.async_wait([self = shared_from_this()](const boost::system::error_code& error) {
        if (error || self->stopped_ || self->state_ != LinkState::open) return;
        if (station_now_ns() - self->t_heard_ns_ >= kSilentAfterNs)
            self->set_state(LinkState::no_data, "open, but nothing came for 3 s");
        else
            self->watch_silence();
    });
}

} // namespace turnstone
