#include "server/broker/access.hpp"

#include <algorithm>

#include "shared/uri.hpp"

namespace turnstone {

std::string BrokerAccess::place() const {
    return host + ":" + std::to_string(port);
}

Result<BrokerAccess> parse_broker(std::string_view text) {
    // Before anything quotes it.
    if (const auto uri = parse_uri(text); uri && uri->authority && uri->authority->userinfo)
        return fail("the broker's URI names a user; leave it out, and set broker_user and broker_password");
    const auto endpoint = parse_endpoint("broker", text, kBrokerForms);
    if (!endpoint) return fail(endpoint.error().message);
    BrokerAccess out{.host = endpoint->host, .port = endpoint->port, .tls = endpoint->scheme == "mqtts"};
    for (const auto& [key, value] : endpoint->options) {
        if (key == "version") {
            if (value != "5" && value != "3.1.1")
                return fail(named("broker", text) + " has version=" + value + "; expected 5 or 3.1.1");
            out.version_5 = value == "5";
        } else if (key == "ca" && out.tls) {
            out.ca_file = value;
        } else {
            return fail(named("broker", text) + " has the unknown option " + key +
                        "; expected version=5|3.1.1 and, of mqtts, ca=FILE");
        }
    }
    return out;
}

bool is_topic_name(std::string_view text) noexcept {
    return !text.empty() && text.size() <= 32 &&
           std::ranges::all_of(
               text, [](char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '_' || c == '-'; });
}

} // namespace turnstone
