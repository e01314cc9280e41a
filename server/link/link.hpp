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

#include <boost/asio/io_context.hpp>

#include "server/link/link_uri.hpp"
#include "shared/link_state.hpp"

namespace turnstone {

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
