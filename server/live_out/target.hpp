#pragma once
/// Where decoded values go, and which: protocol/LIVE.md.
#include <cstdint>
#include <string>
#include <string_view>
#include <variant>

#include "server/broker/access.hpp"
#include "shared/result.hpp"

namespace turnstone {

struct UdpTarget {
    std::string address; ///< numeric
    std::uint16_t port = 0;
    std::string position_of = {}; ///< a vehicle: its position as sentences; empty: all rows as JSON lines
};

/// All rows as JSON lines.
struct BrokerTarget {
    BrokerAccess access;
    std::string station; ///< under whose name
};

using LiveTarget = std::variant<UdpTarget, BrokerTarget>;

/// What "broker" stands for in place of a URI.
inline constexpr std::string_view kLiveToBroker = "broker";

/// "udp://ADDRESS:PORT" or "udp://ADDRESS:PORT?position_of=VEHICLE". Fails with one sentence that quotes it.
[[nodiscard]] Result<UdpTarget> parse_udp_target(std::string_view text);

} // namespace turnstone
