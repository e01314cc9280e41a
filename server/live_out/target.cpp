#include "server/live_out/target.hpp"

#include <array>

#include <boost/asio/ip/address.hpp>

#include "shared/endpoint.hpp"

namespace turnstone {

Result<UdpTarget> parse_udp_target(std::string_view text) {
    static constexpr std::array<EndpointForm, 1> kForms = {{{"udp", "udp://ADDRESS:PORT"}}};
    const auto endpoint = parse_endpoint("live_out", text, kForms);
    if (!endpoint) return fail(endpoint.error().message);
    UdpTarget out{.address = endpoint->host, .port = endpoint->port};
    boost::system::error_code error;
    boost::asio::ip::make_address(out.address, error);
    if (error)
        return fail(named("live_out", text) + " has \"" + out.address +
                    "\", which is not a numeric address; expected one, for instance 127.0.0.1");
    for (const auto& [key, value] : endpoint->options) {
        if (key != "position_of")
            return fail(named("live_out", text) + " has the unknown option " + key + "; expected position_of=VEHICLE");
        out.position_of = value;
    }
    return out;
}

} // namespace turnstone
