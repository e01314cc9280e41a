#pragma once
/// What every kind of link shares: states, silence, retry with back-off for ever, a clean stop.
///
///   opening --opened--> open <--bytes--> silent       (3 s without a byte)
///      |                  |                |
///    failed             lost             lost
///      v                  v                v
///   refused --retry--> (open again: 0.25 s, doubling to 5 s, back to 0.25 s once it stood or delivered)
#include <chrono>
#include <memory>
#include <string>

#include <boost/asio/steady_timer.hpp>

#include "server/link/link.hpp"

namespace turnstone {

inline constexpr std::chrono::milliseconds kRetryMin{250};
inline constexpr std::chrono::milliseconds kRetryMax{5000};
inline constexpr std::chrono::milliseconds kSilentAfter{3000};

/// Handlers hold a shared pointer to the link, so that one still queued after stop() finds it alive and does
/// nothing.
class RetryingLink : public std::enable_shared_from_this<RetryingLink> {
  public:
    RetryingLink(boost::asio::io_context& context, LinkHandler handler);
    virtual ~RetryingLink() = default;
    void start();
    void stop();

  protected:
    /// Begins to open; ends in opened() or refused(), at once or later.
    virtual void open() = 0;
    /// Begins to read; ends in received() again and again, then lost() or ended().
    virtual void read() = 0;
    /// Closes whatever is open or being opened. Called in any state.
    virtual void close() noexcept = 0;

    void opened();
    void refused(const std::string& why);
    void lost(const std::string& why);
    void ended();
    /// Stamps and hands on. The caller reads again.
    void received(std::span<const std::byte> bytes);
    [[nodiscard]] bool stopped() const noexcept { return stopped_; }
    [[nodiscard]] bool may_read() const { return !handler_.may_read || handler_.may_read(); }
    [[nodiscard]] boost::asio::io_context& context() noexcept { return context_; }

    template <class Derived>
    std::shared_ptr<Derived> self() {
        return std::static_pointer_cast<Derived>(shared_from_this());
    }

  private:
    void set_state(LinkState state, const std::string& detail);
    void retry();
    void watch_silence();

    boost::asio::io_context& context_;
    LinkHandler handler_;
    boost::asio::steady_timer retry_timer_;
    boost::asio::steady_timer silence_timer_;
    std::chrono::milliseconds retry_delay_ = kRetryMin;
    LinkState state_ = LinkState::opening;
    std::string detail_;
    std::int64_t t_open_ns_ = 0;
    std::int64_t t_heard_ns_ = 0; ///< of the last byte, or of the opening
    bool was_open_ = false;
    bool stopped_ = false;
};

std::shared_ptr<RetryingLink> make_serial_link(boost::asio::io_context& context, SerialSource source,
                                               LinkHandler handler);
std::shared_ptr<RetryingLink> make_udp_link(boost::asio::io_context& context, UdpSource source, LinkHandler handler);
std::shared_ptr<RetryingLink> make_tcp_link(boost::asio::io_context& context, TcpSource source, LinkHandler handler);
std::shared_ptr<RetryingLink> make_file_link(boost::asio::io_context& context, FileSource source, LinkHandler handler);

} // namespace turnstone
