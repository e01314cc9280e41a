#pragma once
/// Where bytes come from or go to, written as a URI: a place on the network (udp://0.0.0.0:9000) or a path on this
/// machine (serial:/dev/ttyUSB0?baud=57600). For links and the simulator's outputs.
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "shared/result.hpp"

namespace turnstone {

/// How the endpoints of one scheme are written, for messages: {"tcp", "tcp://HOST:PORT"}. A form with "//" is a place
/// on the network, any other a path.
struct EndpointForm {
    std::string_view scheme;
    std::string_view form;
    [[nodiscard]] bool is_place() const noexcept { return form.find("://") != std::string_view::npos; }
};

/// Percent-encoding is undone; nothing here holds a control character.
struct Endpoint {
    std::string scheme;
    std::string path;       ///< of a path; "serial:PATH" and "serial:///PATH" are the same (RFC 8089)
    std::string host;       ///< of a place, IPv6 without brackets
    std::uint16_t port = 0; ///< of a place, from 1
    /// key=value&key=value, each key once, in the order given.
    std::vector<std::pair<std::string, std::string>> options;
};

/// Fails with one sentence that begins `what "TEXT"`, then says what is wrong and, after "; ", what was expected.
[[nodiscard]] Result<Endpoint> parse_endpoint(std::string_view what, std::string_view text,
                                              std::span<const EndpointForm> forms);

/// `what "TEXT"` as messages name it: one line, also when the text is hostile.
[[nodiscard]] std::string named(std::string_view what, std::string_view text);

} // namespace turnstone
