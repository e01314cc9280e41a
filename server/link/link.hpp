#pragma once
/// A link is a source of bytes with receive times: serial port, UDP, TCP client, capture file. It receives; it has no
/// function that sends. It retries for ever with back-off and says what state it is in.
#include <cstdint>
#include <functional>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <variant>

#include <boost/asio/io_context.hpp>

#include "shared/result.hpp"

namespace turnstone {

/// serial:/dev/ttyUSB0?baud=57600&parity=none   udp:0.0.0.0:9000   tcp:host:port   file:capture.bin?pace=57600
/// Every kind takes &vehicle=NAME (default: the first), &name=SHORT (default: made from the kind), &framing=cobs.
struct LinkUri {
    struct Serial { std::string path; unsigned baud = 57600; char parity = 'n'; unsigned stop_bits = 1; };
    struct Udp { std::string address; std::uint16_t port; };
    struct Tcp { std::string host; std::uint16_t port; };
    struct File { std::string path; unsigned pace_baud = 0; /**< 0: as fast as possible */ };
    std::string text; ///< as given
    std::variant<Serial, Udp, Tcp, File> source;
    std::string name;
    std::string vehicle; ///< empty: the first
};
[[nodiscard]] Result<LinkUri> parse_link_uri(std::string_view text);

enum class LinkState : unsigned char {
    opening,  ///< trying
    open,     ///< open, bytes came within the last 3 s
    silent,   ///< open, nothing for 3 s
    lost,     ///< was open; unplugged or closed by the other side; being retried
    refused,  ///< could not be opened; being retried
    ended     ///< a file, read to its end
};
[[nodiscard]] std::string_view to_string(LinkState state) noexcept;

/// Callbacks run on the io_context that runs the link.
struct LinkHandler {
    std::function<void(std::int64_t t_rx_ns, std::int64_t utc_rx_ns, std::span<const std::byte> bytes)> on_bytes;
    std::function<void(std::int64_t t_ns, LinkState state, const std::string& detail)> on_state;
};

class Link {
  public:
    virtual ~Link() = default;
    /// Starts reading; returns at once.
    virtual void start() = 0;
    /// Closes; no callback comes after it returns.
    virtual void stop() = 0;
};

[[nodiscard]] std::unique_ptr<Link> make_link(boost::asio::io_context& context, const LinkUri& uri, LinkHandler handler);

/// Station time and UTC now (shared/time.hpp). Set once at first use; steady afterwards.
[[nodiscard]] std::int64_t station_now_ns() noexcept;
[[nodiscard]] std::int64_t utc_now_ns() noexcept;

} // namespace turnstone
