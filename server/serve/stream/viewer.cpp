#include "server/serve/stream/viewer.hpp"

#include <algorithm>
#include <array>
#include <cerrno>
#include <utility>

#include <sys/socket.h>
#include <sys/uio.h>

namespace turnstone {
namespace {

constexpr std::size_t kGatherMax = 32;
constexpr double kTextsPerSecond = 50;
constexpr std::chrono::seconds kPingEvery{20};
constexpr std::chrono::seconds kSilenceMax{60}; // browsers answer pings by themselves: after this the viewer is gone
constexpr std::chrono::seconds kClosingTime{3}; // for the close frame to go out and the other side to hang up

const WireMessage& wire_of(const WireMessage& event) {
    return event;
}
const WireMessage& wire_of(const BlockMessage& block) {
    return block.wire;
}

} // namespace

Viewer::Viewer(boost::asio::ip::tcp::socket socket, Client client, Lease place, const QueueLimits& limits,
               ServeCounters& counters, ViewerHost& host)
    : socket_(std::move(socket)), client_(std::move(client)), place_(std::move(place)), counters_(counters),
      host_(host), outbox_(limits, counters), heard_(Clock::now()), pinged_(heard_), allowance_(kTextsPerSecond),
      allowance_at_(heard_) {}

void Viewer::start(std::span<const std::byte> early) {
    boost::system::error_code ignored; // a socket that is already dead shows it at the first read
    socket_.native_non_blocking(true, ignored);
    if (!early.empty()) take_bytes(early);
    if (!dropped_) wait_readable();
}

void Viewer::send(WireMessage message) {
    if (closing()) return;
    outbox_.keep(std::move(message));
    write_or_close();
}

void Viewer::send_status(WireMessage message) {
    if (closing()) return;
    outbox_.status(std::move(message));
    write_or_close();
}

void Viewer::open_with(WireMessage hello, std::span<const LiveMessage> recent) {
    if (closing()) return;
    outbox_.open_with(std::move(hello));
    for (const LiveMessage& message : recent)
        outbox_.open_with(std::visit([](const auto& one) { return wire_of(one); }, message));
    write_or_close();
}

void Viewer::send_live(std::span<const LiveMessage> messages) {
    if (closing()) return;
    outbox_.live(messages);
    write_or_close();
}

void Viewer::send_gap(const Gap& gap) {
    if (closing()) return;
    outbox_.gap(gap);
    write_or_close();
}

void Viewer::write_or_close() {
    write();
    if (!outbox_.above_hard_limit()) return;
    // The socket may be ready again without our knowing yet: too slow is someone who does not read.
    while (write_some()) {
    }
    if (outbox_.above_hard_limit()) close(CloseCode::too_slow, "too slow: the queue of messages is full");
}

void Viewer::write() {
    if (waiting_writable_ || dropped_) return;
    while (true) {
        if (outbox_.empty()) {
            if (!outbox_.behind() || closing()) return;
            outbox_.catch_up(host_.newest_rows());
        }
        if (!write_some()) {
            if (!dropped_) wait_writable();
            return;
        }
    }
}

bool Viewer::write_some() {
    if (dropped_ || outbox_.empty()) return false;
    std::array<iovec, kGatherMax> buffer;
    const auto parts = outbox_.next(buffer);
    std::size_t offered = 0;
    for (const iovec& part : parts) offered += part.iov_len;
    msghdr header{};
    header.msg_iov = parts.data();
    header.msg_iovlen = parts.size();
    ssize_t taken = 0;
    do taken = ::sendmsg(socket_.native_handle(), &header, MSG_DONTWAIT | MSG_NOSIGNAL);
    while (taken < 0 && errno == EINTR);
    if (taken < 0) {
        if (errno != EAGAIN && errno != EWOULDBLOCK) drop();
        return false;
    }
    outbox_.sent(static_cast<std::size_t>(taken));
    return static_cast<std::size_t>(taken) == offered;
}

void Viewer::wait_writable() {
    waiting_writable_ = true;
    socket_.async_wait(boost::asio::ip::tcp::socket::wait_write,
                       [self = shared_from_this()](const boost::system::error_code& error) {
                           self->waiting_writable_ = false;
                           if (error)
                               self->drop();
                           else
                               self->write();
                       });
}

void Viewer::wait_readable() {
    socket_.async_wait(
        boost::asio::ip::tcp::socket::wait_read,
        [self = shared_from_this()](const boost::system::error_code& error) {
            if (error)
                self->drop();
            else
                self->read();
        });
}

void Viewer::read() {
    if (dropped_) return;
    std::array<std::byte, 8192> bytes;
    const ssize_t count = ::recv(socket_.native_handle(), bytes.data(), bytes.size(), MSG_DONTWAIT);
    if (count == 0 || (count < 0 && errno != EAGAIN && errno != EWOULDBLOCK && errno != EINTR)) {
        drop();
        return;
    }
    if (count > 0) take_bytes(std::span(bytes).first(static_cast<std::size_t>(count)));
    if (!dropped_) wait_readable();
}

void Viewer::take_bytes(std::span<const std::byte> bytes) {
    heard_ = Clock::now();
    if (!reader_.push(bytes, [this](Opcode opcode, std::string_view payload) { on_message(opcode, payload); }))
        close(reader_.problem_code(), reader_.problem());
}

void Viewer::on_message(Opcode opcode, std::string_view payload) {
    switch (opcode) {
    case Opcode::text:
        if (!closing()) on_text(payload);
        return;
    case Opcode::binary: close(CloseCode::bad_message, "clients send text messages only"); return;
    case Opcode::ping:
        // A ping counts as a text: a flood of pings is a flood of messages to answer.
        if (!closing() && spend_allowance()) send(frame_message(Opcode::pong, payload));
        return;
    case Opcode::close:
        if (closing_since_)
            drop();
        else
            close(CloseCode::normal, "");
        return;
    case Opcode::pong:
        if (std::exchange(asked_, false)) answer_s_ = std::chrono::duration<double>(heard_ - pinged_).count();
        return;
    case Opcode::continuation: return;
    }
}

bool Viewer::spend_allowance() {
    const auto now = Clock::now();
    const double waited_s = std::chrono::duration<double>(now - allowance_at_).count();
    allowance_ = std::min(kTextsPerSecond, allowance_ + waited_s * kTextsPerSecond);
    allowance_at_ = now;
    if (allowance_ < 1) {
        close(CloseCode::bad_message, "more than 50 messages a second");
        return false;
    }
    allowance_ -= 1;
    return true;
}

void Viewer::on_text(std::string_view text) {
    if (!spend_allowance()) return;
    auto message = parse_client_message(text);
    if (message)
        host_.request(*this, std::move(*message));
    else if (message.error().fatal)
        close(CloseCode::bad_message, message.error().message);
    else
        send(frame_message(Opcode::text, error_text(message.error().message, message.error().request)));
}

void Viewer::close(CloseCode code, std::string_view reason) {
    if (closing()) return;
    closing_since_ = Clock::now();
    if (code == CloseCode::too_slow) ++counters_.closed_slow;
    outbox_.end_with(close_message(code, reason), code == CloseCode::too_slow);
    write();
}

void Viewer::drop() {
    if (dropped_) return;
    dropped_ = true;
    outbox_.clear();
    boost::system::error_code ignored; // already gone is as good
    socket_.shutdown(boost::asio::ip::tcp::socket::shutdown_both, ignored);
    socket_.close(ignored);
    host_.left(*this);
}

double Viewer::answer_s(Clock::time_point now) const noexcept {
    return std::fmax(answer_s_, asked_ ? std::chrono::duration<double>(now - pinged_).count() : NAN);
}

void Viewer::tick(Clock::time_point now) {
    if (closing_since_) {
        if (now - *closing_since_ > kClosingTime) drop();
        return;
    }
    if (outbox_.behind_too_long(now)) {
        close(CloseCode::too_slow, "too slow: behind for too long");
        return;
    }
    if (now - heard_ > kSilenceMax) {
        drop();
        return;
    }
    if (now - pinged_ > kPingEvery) {
        pinged_ = now;
        asked_ = true;
        send(frame_message(Opcode::ping, ""));
    }
}

} // namespace turnstone
