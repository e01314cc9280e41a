#include "server/link/link.hpp"

#include <algorithm>
#include <chrono>
#include <utility>

namespace turnstone {

namespace {

constexpr std::chrono::milliseconds kRetryMin{250};
constexpr std::chrono::milliseconds kRetryMax{5000};
constexpr std::int64_t kSilentAfter_ns = 3'000'000'000;

/// A cable that was not quite in may come back at once.
constexpr unsigned kShortOpeningsTold = 2;

bool is_power_of_ten(unsigned number) {
    while (number >= 10 && number % 10 == 0) number /= 10;
    return number == 1;
}

} // namespace

Link::Link(boost::asio::io_context& context, LinkHandler handler)
    : context_(context), handler_(std::move(handler)), retry_timer_(context), silence_timer_(context),
      retry_delay_(kRetryMin) {}

void Link::start() {
    handler_.on_state(station_now_ns(), state_, detail_);
    open();
}

void Link::stop() {
    stopped_ = true;
    retry_timer_.cancel();
    silence_timer_.cancel();
    close();
}

bool Link::flaps() const noexcept {
    return short_openings_ >= kShortOpeningsTold;
}

void Link::set_state(LinkState state, const std::string& detail) {
    if (state == state_ && detail == detail_) return;
    state_ = state;
    detail_ = detail;
    handler_.on_state(station_now_ns(), state_, detail_);
}

void Link::opened() {
    is_open_ = was_open_ = true;
    t_open_ns_ = t_heard_ns_ = station_now_ns();
    if (!flaps()) set_state(LinkState::open, "");
    // A callback may have stopped the link.
    if (!stopped_) {
        watch_silence();
        read();
    }
}

void Link::cannot_open(const std::string& why) {
    // A link that once worked stays "lost" while it cannot be opened again: its loss is what the operator must fix.
    set_state(was_open_ ? LinkState::lost : LinkState::cannot_open, why);
    retry();
}

void Link::lost(const std::string& why) {
    silence_timer_.cancel();
    is_open_ = false;
    const bool stood = station_now_ns() - t_open_ns_ > kSilentAfter_ns;
    if (t_heard_ns_ > t_open_ns_ || stood) retry_delay_ = kRetryMin;
    short_openings_ = stood ? 0 : short_openings_ + 1;
    if (short_openings_ <= kShortOpeningsTold)
        set_state(LinkState::lost, why);
    else if (is_power_of_ten(short_openings_))
        set_state(LinkState::lost, why + ", " + std::to_string(short_openings_) + " times in a row within 3 s");
    retry();
}

void Link::end_of_file(const std::string& detail) {
    silence_timer_.cancel();
    is_open_ = false;
    close();
    set_state(LinkState::end_of_file, detail);
}

void Link::heard(std::int64_t t_ns) {
    t_heard_ns_ = t_ns;
    if (state_ == LinkState::no_data) {
        set_state(LinkState::open, "");
        watch_silence();
    }
}

void Link::received_at(std::int64_t t_rx_ns, std::span<const std::byte> bytes) {
    const std::int64_t now_ns = station_now_ns();
    heard(now_ns);
    if (stopped_) return;
    const auto& take = handler_.on_timed_bytes ? handler_.on_timed_bytes : handler_.on_bytes;
    take(t_rx_ns, t_rx_ns + (utc_now_ns() - now_ns), bytes);
}

void Link::received(std::span<const std::byte> bytes) {
    const std::int64_t t_rx_ns = station_now_ns();
    heard(t_rx_ns);
    if (!stopped_) handler_.on_bytes(t_rx_ns, utc_now_ns(), bytes);
}

void Link::relayed(const RelayedTimes& times, std::span<const std::span<const std::byte>> chunks) {
    const std::int64_t t_rx_ns = station_now_ns();
    heard(t_rx_ns);
    if (stopped_) return;
    const std::int64_t utc_ns = utc_now_ns();
    if (handler_.on_relayed) handler_.on_relayed(t_rx_ns, times);
    for (const auto& chunk : chunks) handler_.on_bytes(t_rx_ns, utc_ns, chunk);
}

void Link::remark(const std::string& detail) {
    if (!stopped_) set_state(state_, detail);
}

void Link::retry() {
    close();
    if (stopped_) return;
    retry_timer_.expires_after(retry_delay_);
    retry_delay_ = std::min(retry_delay_ * 2, kRetryMax);
    retry_timer_.async_wait([self = shared_from_this()](const boost::system::error_code& error) {
        if (!error && !self->stopped_) self->open();
    });
}

void Link::watch_silence() {
    const std::int64_t from_ns = flaps() ? t_open_ns_ : t_heard_ns_;
    const std::int64_t left_ns = from_ns + kSilentAfter_ns - station_now_ns();
    silence_timer_.expires_after(std::chrono::nanoseconds(std::max<std::int64_t>(left_ns, 0)));
    silence_timer_.async_wait([self = shared_from_this()](const boost::system::error_code& error) {
        if (!error && !self->stopped_ && self->is_open_) self->settle();
    });
}

void Link::settle() {
    const std::int64_t now_ns = station_now_ns();
    if (flaps() && now_ns - t_open_ns_ < kSilentAfter_ns) {
        watch_silence();
        return;
    }
    short_openings_ = 0;
    if (!may_read()) t_heard_ns_ = now_ns; // it is not silent, it is told to wait
    if (now_ns - t_heard_ns_ >= kSilentAfter_ns) {
        set_state(LinkState::no_data, "nothing came for 3 s");
        return;
    }
    set_state(LinkState::open, "");
    if (!stopped_) watch_silence();
}

std::shared_ptr<Link> make_link(boost::asio::io_context& context, const LinkUri& uri, LinkHandler handler) {
    return std::visit([&](const auto& source) { return make_link(context, source, std::move(handler)); }, uri.source);
}

} // namespace turnstone
