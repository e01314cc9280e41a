#pragma once
/// One WebSocket connection after its handshake: messages out, client requests in. Lives on the serve thread. Sending
/// tries the socket at once and waits only for what the kernel did not take: one system call a message in the ordinary
/// case.
#include <chrono>
#include <cmath>
#include <cstddef>
#include <memory>
#include <optional>
#include <span>
#include <string_view>

#include <boost/asio/ip/tcp.hpp>

#include "server/serve/budgets.hpp"
#include "server/serve/counters.hpp"
#include "server/serve/encode/messages.hpp"
#include "server/serve/parse/client_message.hpp"
#include "server/serve/parse/websocket_frame.hpp"
#include "server/serve/settings.hpp"
#include "server/serve/stream/outbox.hpp"

namespace turnstone {

class Viewer;

/// What a viewer asks of those who feed it.
class ViewerHost {
  public:
    virtual void request(Viewer& viewer, ClientMessage message) = 0;
    /// The coalesced message of this moment.
    [[nodiscard]] virtual WireMessage newest_rows() = 0;
    /// The connection is gone.
    virtual void left(Viewer& viewer) = 0;

  protected:
    ~ViewerHost() = default;
};

class Viewer : public std::enable_shared_from_this<Viewer> {
  public:
    using Clock = std::chrono::steady_clock;
    /// `limits`, `counters` and `host` must outlive it.
    Viewer(boost::asio::ip::tcp::socket socket, Client client, Lease place, const QueueLimits& limits,
           ServeCounters& counters, ViewerHost& host);

    /// `early`: bytes the client sent right after its handshake.
    void start(std::span<const std::byte> early);

    /// Never dropped: errors, answers, a replay's messages.
    void send(WireMessage message);
    /// Never dropped either: hello, and the last moments of the tape when it is live.
    void open_with(WireMessage hello, std::span<const LiveMessage> recent);
    /// Only the newest waits.
    void send_status(WireMessage message);
    /// Blocks are left out when the viewer is behind; a gap text and one coalesced message make up for it.
    void send_live(std::span<const LiveMessage> messages);
    /// Blocks that never reached the hub are a gap for every viewer.
    void send_gap(const Gap& gap);
    /// The tape behind the connection changed: what the viewer missed of the old one no longer matters.
    void forget_gap() noexcept { outbox_.forget_gap(); }
    /// Says why, gives messages under way a moment to finish, then ends.
    void close(CloseCode code, std::string_view reason);

    /// Ping, slow-viewer and closing clocks; called a few times a second.
    void tick(Clock::time_point now);

    /// As the connection began.
    [[nodiscard]] const Client& client() const noexcept { return client_; }
    [[nodiscard]] bool closing() const noexcept { return closing_since_.has_value() || dropped_; }
    [[nodiscard]] std::size_t queued_bytes() const noexcept { return outbox_.bytes(); }
    /// Messages are being left out for it.
    [[nodiscard]] bool behind() const noexcept { return outbox_.behind(); }
    /// Seconds that it took for the last ping, or waits for it already, whichever is longer; NaN: not asked yet.
    [[nodiscard]] double answer_s(Clock::time_point now) const noexcept;

  private:
    void write_or_close();
    void write();
    /// False: the kernel takes no more, or the viewer is gone.
    bool write_some();
    void wait_writable();
    void wait_readable();
    void read();
    void take_bytes(std::span<const std::byte> bytes);
    void on_message(Opcode opcode, std::string_view payload);
    void on_text(std::string_view text);
    [[nodiscard]] bool spend_allowance();
    void drop();

    boost::asio::ip::tcp::socket socket_;
    const Client client_;
    const Lease place_;
    ServeCounters& counters_;
    ViewerHost& host_;
    ClientFrameReader reader_;
    Outbox outbox_;
    bool waiting_writable_ = false;
    std::optional<Clock::time_point> closing_since_;
    bool dropped_ = false;
    Clock::time_point heard_;
    Clock::time_point pinged_;
    bool asked_ = false;    ///< by a ping that is not answered
    double answer_s_ = NAN; ///< to the last one that was
    double allowance_;      ///< messages the client may send at once
    Clock::time_point allowance_at_;
};

} // namespace turnstone
