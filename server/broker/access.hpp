#pragma once
/// Where the broker is that stations meet at, and how to get in.
#include <array>
#include <cstdint>
#include <string>
#include <string_view>

#include "shared/endpoint.hpp"
#include "shared/result.hpp"

namespace turnstone {

struct BrokerAccess {
    std::string host;
    std::uint16_t port = 0;
    bool tls = false;
    std::string ca_file = {}; ///< whose signature its certificate has to bear; empty: one that this computer trusts
    bool version_5 = true;    ///< MQTT 5.0, else 3.1.1
    // Neither is ever written to a log or a recording.
    std::string user = {};
    std::string password = {};
    /// "HOST:PORT", as messages name it.
    [[nodiscard]] std::string place() const;
};

inline constexpr std::array<EndpointForm, 2> kBrokerForms = {
    {{"mqtt", "mqtt://HOST:PORT"}, {"mqtts", "mqtts://HOST:PORT"}}};

/// Fails with one sentence that quotes the URI and says what is wrong in it and what was expected.
[[nodiscard]] Result<BrokerAccess> parse_broker(std::string_view text);

/// Of a station or a link, in topics: 1 to 32 of a-z, 0-9, _ and -.
[[nodiscard]] bool is_topic_name(std::string_view text) noexcept;

} // namespace turnstone
