#include "server/serve/stream/viewer.hpp"

#include <algorithm>
#include <array>
#include <cerrno>

#include <sys/socket.h>
#include <sys/uio.h>

#include "server/serve/stream/hub.hpp"
#include "server/serve/stream/replay.hpp"

namespace turnstone {
namespace {

constexpr std::size_t kGatherMax = 32;
constexpr double kTextsPerSecond = 50;
constexpr std::chrono::seconds kPingEvery{20};
constexpr std::chrono::seconds kSilenceMax{60}; // browsers answer pings by themselves: nobody is there any more
constexpr std::chrono::seconds kClosingTime{3}; // for the close frame to go out and the other side to hang up

} // namespace

Viewer::Viewer(boost::asio::ip::tcp::socket socket, Hub& hub, bool is_operator)
    : socket_(std::move(socket)), hub_(hub), is_operator_(is_operator), heard_(Clock::now()), pinged_(heard_),
      text_tokens_(kTextsPerSecond), text_at_(heard_) {}

void Viewer::start(std::span<const std::byte> early) {
    boost::system::error_code ignored; // a socket that is already dead shows it at the first read
    socket_.native_non_blocking(true, ignored);
    if (!early.empty()) take_bytes(early);
    if (!dropped_) wait_readable();
}

void Viewer::send(WireMessage message) {
    enqueue({std::move(message), Kind::kept, 0, 0, 0});
}

void Viewer::send_status(WireMessage message) {
    for (std::size_t i = front_sent_ > 0 ? 1 : 0; i < queue_.size(); ++i) {
        if (queue_[i].kind != Kind::status) continue;
        queued_bytes_ += message->size() - queue_[i].message->size();
        queue_[i].message = std::move(message);
        return;
    }
    enqueue({std::move(message), Kind::status, 0, 0, 0});
}

void Viewer::send_block(const WireMessage& message, std::uint64_t seq, double from_t_s, double to_t_s) {
    if (closing()) return;
    if (gap_) {
        extend_gap(seq, seq, from_t_s, to_t_s);
        return;
    }
    // A message larger than the limit still goes to a viewer that keeps up.
    if (!queue_.empty() && queued_bytes_ + message->size() > hub_.settings().queue_soft_bytes) {
        fall_behind();
        extend_gap(seq, seq, from_t_s, to_t_s);
        return;
    }
    enqueue({message, Kind::block, seq, from_t_s, to_t_s});
}

void Viewer::note_gap(const Gap& gap) {
    if (gap_)
        extend_gap(gap.from_seq, gap.to_seq, gap.from_t_s, gap.to_t_s);
    else
        send(frame_message(Opcode::text, gap_text(gap)));
}

void Viewer::fall_behind() {
    behind_since_ = Clock::now();
    ++hub_.counters().fell_behind;
    std::deque<Entry> kept;
    for (std::size_t i = 0; i < queue_.size(); ++i) {
        Entry& entry = queue_[i];
        if (entry.kind == Kind::block && (i > 0 || front_sent_ == 0)) {
            extend_gap(entry.seq, entry.seq, entry.from_t_s, entry.to_t_s);
            queued_bytes_ -= entry.message->size();
        } else {
            kept.push_back(std::move(entry));
        }
    }
    queue_ = std::move(kept);
}

void Viewer::extend_gap(std::uint64_t from_seq, std::uint64_t to_seq, double from_t_s, double to_t_s) {
    ++hub_.counters().blocks_left_out;
    if (!gap_) {
        gap_ = Gap{from_seq, to_seq, from_t_s, to_t_s};
        return;
    }
    gap_->to_seq = to_seq;
    gap_->from_t_s = std::min(gap_->from_t_s, from_t_s);
    gap_->to_t_s = std::max(gap_->to_t_s, to_t_s);
}

/// Everything queued is with the kernel: time for the newest values.
void Viewer::catch_up() {
    const Gap gap = *gap_;
    gap_.reset();
    queue_.push_back({frame_message(Opcode::text, gap_text(gap)), Kind::kept, 0, 0, 0});
    queue_.push_back({hub_.newest_rows(), Kind::kept, 0, 0, 0});
    for (const Entry& entry : queue_) queued_bytes_ += entry.message->size();
    ++hub_.counters().coalesced;
}

void Viewer::enqueue(Entry entry) {
    if (closing()) return;
    queued_bytes_ += entry.message->size();
    queue_.push_back(std::move(entry));
    if (queued_bytes_ > hub_.settings().queue_hard_bytes) {
        close(CloseCode::too_slow, "too slow: the queue of messages is full");
        return;
    }
    flush();
}

void Viewer::flush() {
    if (waiting_writable_ || dropped_) return;
    while (true) {
        if (queue_.empty()) {
            if (!gap_ || closing()) return;
            catch_up();
        }
        std::array<iovec, kGatherMax> parts;
        const std::size_t count = std::min(queue_.size(), kGatherMax);
        std::size_t offered = 0;
        for (std::size_t i = 0; i < count; ++i) {
            const std::string& bytes = *queue_[i].message;
            const std::size_t from = i == 0 ? front_sent_ : 0;
            // sendmsg takes pointers to non-const, but only reads.
            parts[i] = {const_cast<char*>(bytes.data()) + from, bytes.size() - from};
            offered += parts[i].iov_len;
        }
        msghdr header{};
        header.msg_iov = parts.data();
        header.msg_iovlen = count;
        const ssize_t result = ::sendmsg(socket_.native_handle(), &header, MSG_DONTWAIT | MSG_NOSIGNAL);
        if (result < 0) {
            if (errno == EINTR) continue;
            if (errno == EAGAIN || errno == EWOULDBLOCK)
                wait_writable();
            else
                drop();
            return;
        }
        auto sent = static_cast<std::size_t>(result);
        const bool all = sent == offered;
        hub_.counters().bytes_sent += sent;
        queued_bytes_ -= sent;
        sent += front_sent_;
        while (!queue_.empty() && sent >= queue_.front().message->size()) {
            sent -= queue_.front().message->size();
            queue_.pop_front();
            ++hub_.counters().messages_sent;
        }
        front_sent_ = sent;
        if (!all) {
            wait_writable();
            return;
        }
    }
}

void Viewer::wait_writable() {
    waiting_writable_ = true;
    socket_.async_wait(boost::asio::ip::tcp::socket::wait_write,
                       [self = shared_from_this()](const boost::system::error_code& error) {
                           self->waiting_writable_ = false;
                           if (error)
                               self->drop();
                           else
                               self->flush();
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
        close(CloseCode::bad_message, reader_.problem());
}

void Viewer::on_message(Opcode opcode, std::string_view payload) {
    switch (opcode) {
    case Opcode::text:
        if (!closing()) on_text(payload);
        return;
    case Opcode::binary: close(CloseCode::bad_message, "clients send text messages only"); return;
    case Opcode::ping:
        // A ping costs a text's allowance: a flood of them is a flood of messages to answer.
        if (!closing() && spend_allowance()) send(frame_message(Opcode::pong, payload));
        return;
    case Opcode::close:
        if (closing_since_)
            drop();
        else
            close(CloseCode::normal, "");
        return;
    case Opcode::pong:
    case Opcode::continuation: return;
    }
}

bool Viewer::spend_allowance() {
    const auto now = Clock::now();
    text_tokens_ = std::min(kTextsPerSecond,
                            text_tokens_ + std::chrono::duration<double>(now - text_at_).count() * kTextsPerSecond);
    text_at_ = now;
    if (text_tokens_ < 1) {
        close(CloseCode::bad_message, "more than 50 messages a second");
        return false;
    }
    text_tokens_ -= 1;
    return true;
}

void Viewer::on_text(std::string_view text) {
    if (!spend_allowance()) return;
    auto message = parse_client_message(text);
    if (!message) {
        if (message.error().fatal)
            close(CloseCode::bad_message, message.error().message);
        else
            send(frame_message(Opcode::text, error_text(message.error().message, message.error().request)));
        return;
    }
    if (std::holds_alternative<FollowLive>(message->what)) {
        replay_.reset();
        forget_gap();
        hub_.send_hello(*this);
        return;
    }
    if (std::holds_alternative<OpenReplay>(message->what)) {
        forget_gap();
        if (replay_ == nullptr) replay_ = std::make_shared<Replay>(hub_, weak_from_this());
    }
    if (replay_ == nullptr) {
        send(frame_message(
            Opcode::text,
            error_text("this connection follows the live tape; send 'open' with a recording first", message->request)));
        return;
    }
    replay_->request(std::move(*message));
}

void Viewer::close(CloseCode code, std::string_view reason) {
    if (closing()) return;
    closing_since_ = Clock::now();
    replay_.reset();
    gap_.reset();
    if (code == CloseCode::too_slow) ++hub_.counters().closed_slow;
    // Only a message that is already partly out has to be finished before the close frame.
    while (queue_.size() > (front_sent_ > 0 ? 1u : 0u)) {
        if (code != CloseCode::too_slow && queue_.back().kind == Kind::kept) break;
        queued_bytes_ -= queue_.back().message->size();
        queue_.pop_back();
    }
    queue_.push_back({close_message(code, reason), Kind::kept, 0, 0, 0});
    queued_bytes_ += queue_.back().message->size();
    flush();
}

void Viewer::drop() {
    if (dropped_) return;
    dropped_ = true;
    replay_.reset();
    queue_.clear();
    boost::system::error_code ignored; // already gone is as good
    socket_.shutdown(boost::asio::ip::tcp::socket::shutdown_both, ignored);
    socket_.close(ignored);
    hub_.remove(shared_from_this());
}

void Viewer::tick(Clock::time_point now) {
    if (closing_since_) {
        if (now - *closing_since_ > kClosingTime) drop();
        return;
    }
    if (gap_ && now - behind_since_ > hub_.settings().queue_soft_time) {
        close(CloseCode::too_slow, "too slow: newest values did not get through either");
        return;
    }
    if (now - heard_ > kSilenceMax) {
        drop();
        return;
    }
    if (now - pinged_ > kPingEvery) {
        pinged_ = now;
        send(frame_message(Opcode::ping, ""));
    }
}

} // namespace turnstone
