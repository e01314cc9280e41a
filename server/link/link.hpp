#pragma once
/// A link is a source of bytes with receive times: serial port, UDP, TCP client, capture file, another station's link.
/// It receives; it has no function that sends, and a serial port is opened for reading only. It says what state it is
/// in:
///
///   opening --opened--> open <--bytes--> no data    3 s without a byte
///      |                  |                 |
///    failed            failed            failed     or, of a file read to its end: end of file, and nothing is retried
///      v                  v                 v
///  cannot open          lost              lost      retried indefinitely: after 0.25 s, doubling to 5 s,
///      |                  |                 |       back to 0.25 s once it stood for 3 s or delivered
///      +------opened----> open <---opened---+
///
/// A link that has opened and failed again within 3 s twice in a row is not said to have opened until it stands for 3
/// s: its bytes are taken, and its state stays "lost".
#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>

#include "server/link/link_uri.hpp"
#include "shared/link_state.hpp"

namespace turnstone {

/// When another station received the chunks that follow, by its own clock.
struct RelayedTimes {
    std::uint64_t clock;                ///< which: each start of that station sets another
    std::int64_t sent_ns;               ///< when it sent them on
    std::vector<double> heard_before_s; ///< how long before that it had received each chunk
};

/// Callbacks run on the io_context that runs the link.
struct LinkHandler {
    std::function<void(std::int64_t t_rx_ns, std::int64_t utc_rx_ns, std::span<const std::byte> bytes)> on_bytes;
    /// Only when state or detail changed, so that a link retried all day does not make an event each time. One that
    /// keeps failing right after it opened is told again after 10, 100, 1000, ... times, with their number.
    std::function<void(std::int64_t t_ns, LinkState state, const std::string& detail)> on_state;
    /// A source that can wait (a file, paced or not) asks this before each read; empty: it never waits.
    std::function<bool()> may_read;
    /// As on_bytes, from a file that has the receive times itself: they count from when reading began. Empty: on_bytes
    /// takes these too.
    std::function<void(std::int64_t t_rx_ns, std::int64_t utc_rx_ns, std::span<const std::byte> bytes)> on_timed_bytes =
        {};
    /// Of bytes that another station received: right before on_bytes is called for each of the chunks.
    std::function<void(std::int64_t t_ns, const RelayedTimes& times)> on_relayed = {};
};

/// What all kinds of link share. Handlers hold a shared pointer to the link, so that one still queued after stop()
/// finds it alive and does nothing. A kind says how to open, read and close; the states follow from the functions it
/// calls.
class Link : public std::enable_shared_from_this<Link> {
  public:
    virtual ~Link() = default;
    Link(const Link&) = delete;
    Link& operator=(const Link&) = delete;
    /// Starts reading; returns at once.
    void start();
    /// Closes; no callback comes after it returns. A link that was started is stopped before its owner lets go of it:
    /// where the io_context runs, or once it no longer runs.
    void stop();

  protected:
    Link(boost::asio::io_context& context, LinkHandler handler);

    /// Begins to open; ends in opened() or cannot_open(), at once or later.
    virtual void open() = 0;
    /// Begins to read; ends in received() again and again, then lost() or end_of_file().
    virtual void read() = 0;
    /// Closes whatever is open or being opened. Called in any state.
    virtual void close() noexcept = 0;

    void opened();
    void cannot_open(const std::string& why);
    void lost(const std::string& why);
    /// `detail`: what a person should know of the file; mostly empty.
    void end_of_file(const std::string& detail);
    /// Stamps and hands on. The caller reads again.
    void received(std::span<const std::byte> bytes);
    /// The same of bytes that the file says came at `t_rx_ns`, station time.
    void received_at(std::int64_t t_rx_ns, std::span<const std::byte> bytes);
    /// Chunks of one message from another station, and their times.
    void relayed(const RelayedTimes& times, std::span<const std::span<const std::byte>> chunks);
    /// What a person should know while the link is open.
    void remark(const std::string& detail);
    [[nodiscard]] bool stopped() const noexcept { return stopped_; }
    [[nodiscard]] bool may_read() const { return !handler_.may_read || handler_.may_read(); }
    [[nodiscard]] boost::asio::io_context& context() noexcept { return context_; }

    template <class Derived>
    std::shared_ptr<Derived> self() {
        return std::static_pointer_cast<Derived>(shared_from_this());
    }

  private:
    void set_state(LinkState state, const std::string& detail);
    void heard(std::int64_t t_ns);
    void retry();
    void watch_silence();
    void settle();
    /// Opens and fails again and again.
    [[nodiscard]] bool flaps() const noexcept;

    boost::asio::io_context& context_;
    LinkHandler handler_;
    boost::asio::steady_timer retry_timer_;
    boost::asio::steady_timer silence_timer_;
    std::chrono::milliseconds retry_delay_;
    LinkState state_ = LinkState::opening;
    std::string detail_;
    std::int64_t t_open_ns_ = 0;
    std::int64_t t_heard_ns_ = 0; ///< of the last byte, or of the opening
    unsigned short_openings_ = 0; ///< in a row, each failed within 3 s
    bool is_open_ = false;        ///< whatever state_ says
    bool was_open_ = false;
    bool stopped_ = false;
};

/// Not yet started.
[[nodiscard]] std::shared_ptr<Link> make_link(boost::asio::io_context& context, const LinkUri& uri,
                                              LinkHandler handler);
// One for each kind, in a file of its own.
[[nodiscard]] std::shared_ptr<Link> make_link(boost::asio::io_context& context, const SerialSource& source,
                                              LinkHandler handler);
[[nodiscard]] std::shared_ptr<Link> make_link(boost::asio::io_context& context, const UdpSource& source,
                                              LinkHandler handler);
[[nodiscard]] std::shared_ptr<Link> make_link(boost::asio::io_context& context, const TcpSource& source,
                                              LinkHandler handler);
[[nodiscard]] std::shared_ptr<Link> make_link(boost::asio::io_context& context, const FileSource& source,
                                              LinkHandler handler);
[[nodiscard]] std::shared_ptr<Link> make_link(boost::asio::io_context& context, const BrokerSource& source,
                                              LinkHandler handler);

/// Station time and UTC now (shared/time.hpp). Set once at first use; steady afterwards.
[[nodiscard]] std::int64_t station_now_ns() noexcept;
[[nodiscard]] std::int64_t utc_now_ns() noexcept;

} // namespace turnstone
