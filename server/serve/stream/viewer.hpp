#pragma once
/// One WebSocket connection after its handshake: a bounded queue of shared messages out, client texts in. Lives on the
/// serve thread. Sending tries the socket at once and waits only for what the kernel did not take: one system call a
/// message in the ordinary case.
#include <chrono>
#include <cstddef>
#include <deque>
#include <functional>
#include <memory>
#include <optional>
#include <string_view>

#include <boost/asio/ip/tcp.hpp>

#include "server/serve/encode/messages.hpp"
#include "server/serve/parse/client_message.hpp"
#include "server/serve/parse/websocket_frame.hpp"

namespace turnstone {

class Hub;
class Replay;

class Viewer : public std::enable_shared_from_this<Viewer> {
  public:
    using Clock = std::chrono::steady_clock;
    Viewer(boost::asio::ip::tcp::socket socket, Hub& hub, bool is_operator);

    /// `early`: octets the client sent behind its handshake.
    void start(std::span<const std::byte> early);

    /// Never dropped: hello, event, error, answers.
    void send(WireMessage message);
    /// Only the newest waits.
    void send_status(WireMessage message);
    /// Left out when the viewer is behind; a gap text and one coalesced message make up for it.
    void send_block(const WireMessage& message, std::uint64_t seq, double from_t_s, double to_t_s);
    /// Blocks that never reached the hub are a gap for every viewer.
    void note_gap(const Gap& gap);
    /// The tape behind the connection changed: what the viewer missed of the old one no longer matters.
    void forget_gap() noexcept { gap_.reset(); }
    /// Says why, lets what is under way finish for a moment, then ends.
    void close(CloseCode code, std::string_view reason);
    void drop();

    /// Ping, slow-viewer and closing clocks; called a few times a second.
    void tick(Clock::time_point now);

    [[nodiscard]] bool is_operator() const noexcept { return is_operator_; }
    [[nodiscard]] bool follows_live() const noexcept { return replay_ == nullptr; }
    [[nodiscard]] bool closing() const noexcept { return closing_since_.has_value() || dropped_; }
    [[nodiscard]] std::size_t queued_bytes() const noexcept { return queued_bytes_; }
    [[nodiscard]] bool watches(const Replay& replay) const noexcept { return replay_.get() == &replay; }

  private:
    enum class Kind : unsigned char { kept, status, block };
    struct Entry {
        WireMessage message;
        Kind kind;
        std::uint64_t seq;
        double from_t_s, to_t_s;
    };

    void enqueue(Entry entry);
    void fall_behind();
    void extend_gap(std::uint64_t from_seq, std::uint64_t to_seq, double from_t_s, double to_t_s);
    void catch_up();
    void flush();
    void wait_readable();
    void wait_writable();
    void read();
    void take_bytes(std::span<const std::byte> bytes);
    void on_message(Opcode opcode, std::string_view payload);
    void on_text(std::string_view text);
    [[nodiscard]] bool spend_allowance();

    boost::asio::ip::tcp::socket socket_;
    Hub& hub_;
    bool is_operator_;
    ClientFrameReader reader_;
    std::deque<Entry> queue_;
    std::size_t front_sent_ = 0; ///< octets of the front entry the kernel has
    std::size_t queued_bytes_ = 0;
    bool waiting_writable_ = false;
    std::optional<Gap> gap_; ///< set: behind, blocks are being left out
    Clock::time_point behind_since_{};
    std::optional<Clock::time_point> closing_since_;
    bool dropped_ = false;
    Clock::time_point heard_{};
    Clock::time_point pinged_{};
    double text_tokens_;
    Clock::time_point text_at_{};
    std::shared_ptr<Replay> replay_;
};

} // namespace turnstone
