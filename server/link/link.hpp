#pragma once
/// A link is a source of bytes with receive times: serial port, UDP, TCP client, capture file. It receives;
/// it has no function that sends, and a serial port is opened for reading only. It retries for ever with
/// back-off and says what state it is in.
#include <cstdint>
#include <functional>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include <boost/asio/io_context.hpp>

#include "shared/link_state.hpp"
#include "shared/result.hpp"

namespace turnstone {

struct SerialSource {
    std::string path;
    unsigned baud = 57600; ///< one of kBaudRates
    char parity = 'n';     ///< n, e or o
    unsigned stop_bits = 1;
};
struct UdpSource {
    std::string address; ///< numeric; a multicast group is joined
    std::uint16_t port;
};
struct TcpSource {
    std::string host;
    std::uint16_t port;
};
struct FileSource {
    std::string path;
    unsigned pace_baud =
        0; ///< ten bits an octet, as a serial line with one start and one stop bit; 0: as fast as possible
};

/// serial:/dev/ttyUSB0?baud=57600&parity=none&stop=1   udp:0.0.0.0:9000   tcp:host:port
/// file:capture.bin?pace=57600 Every kind takes &vehicle=NAME (default: the first), &name=SHORT (default:
/// made from the kind), &framing=cobs. %XX stands for any octet (RFC 3986 section 2.1); IPv6 addresses stand
/// in brackets.
struct LinkUri {
    using Serial = SerialSource;
    using Udp = UdpSource;
    using Tcp = TcpSource;
    using File = FileSource;
    std::string text; ///< as given
    std::variant<Serial, Udp, Tcp, File> source;
    std::string name;    ///< empty until name_links, unless given
    std::string vehicle; ///< empty: the first
};

/// What termios knows by name.
inline constexpr unsigned kBaudRates[] = {1200,    1800,    2400,    4800,    9600,    19200,  38400,   57600,
                                          115200,  230400,  460800,  500000,  576000,  921600, 1000000, 1152000,
                                          1500000, 2000000, 2500000, 3000000, 3500000, 4000000};

/// Fails with one sentence that quotes the URI and says what is wrong in it and what would be right.
[[nodiscard]] Result<LinkUri> parse_link_uri(std::string_view text);

/// Gives every link without a name one made from its kind ("serial", "serial-2"); fails when two were given
/// the same name.
[[nodiscard]] Result<void> name_links(std::vector<LinkUri>& uris);

/// Callbacks run on the io_context that runs the link.
struct LinkHandler {
    std::function<void(std::int64_t t_rx_ns, std::int64_t utc_rx_ns, std::span<const std::byte> bytes)> on_bytes;
    /// Only when state or detail changed, so that a link retried all day makes no event each time.
    std::function<void(std::int64_t t_ns, LinkState state, const std::string& detail)> on_state;
    /// Asked before each read by a source that can wait (a file); empty: never waits.
    std::function<bool()> may_read;
};

class Link {
  public:
    virtual ~Link() = default;
    /// Starts reading; returns at once.
    virtual void start() = 0;
    /// Closes; no callback comes after it returns. Call it, and destroy the link, where the io_context runs
    /// or once it no longer runs.
    virtual void stop() = 0;
};

[[nodiscard]] std::unique_ptr<Link> make_link(boost::asio::io_context& context, const LinkUri& uri,
                                              LinkHandler handler);

/// Station time and UTC now (shared/time.hpp). Set once at first use; steady afterwards.
[[nodiscard]] std::int64_t station_now_ns() noexcept;
[[nodiscard]] std::int64_t utc_now_ns() noexcept;

} // namespace turnstone
