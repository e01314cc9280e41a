#pragma once
/// The URI of a link (RFC 3986), in one of the forms of kLinkForms. Every kind takes name=SHORT (default: made from the
/// kind), vehicle=NAME (default: the first), latency_ms=NUMBER (of the radios between; server/pipeline/link_delay.hpp
/// reads it), place=LATITUDE,LONGITUDE (of the antenna; the map shows it) and framing=NAME with the options of that
/// framing, which protocol/framing reads.
#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <variant>
#include <vector>

#include "server/broker/access.hpp"
#include "shared/endpoint.hpp"
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
    /// Ten bits a byte, as a serial line with one start and one stop bit; 0: as fast as possible.
    unsigned pace_baud = 0;
    std::optional<std::uint16_t> udp_port = {}; ///< of a packet capture: datagrams to it only
};
/// A link of another station, as that one publishes it (BROKER.md).
struct BrokerSource {
    std::string station;
    std::string link;
    // Of the settings, which have one broker: complete_settings puts it here.
    BrokerAccess access = {};
    std::string client = {}; ///< how the broker knows this link, from start to start
};

struct LinkUri {
    std::string text; ///< as given
    std::variant<SerialSource, UdpSource, TcpSource, FileSource, BrokerSource> source;
    std::string name;    ///< empty until name_links, unless given
    std::string vehicle; ///< empty: the first
    /// framing= and, when it is there, every option that is not the link's own, in the order given.
    std::vector<std::pair<std::string, std::string>> framing = {};
};

/// What termios knows by name.
inline constexpr unsigned kBaudRates[] = {1200,    1800,    2400,    4800,    9600,    19200,  38400,   57600,
                                          115200,  230400,  460800,  500000,  576000,  921600, 1000000, 1152000,
                                          1500000, 2000000, 2500000, 3000000, 3500000, 4000000};

/// How links are written, and what else to know of each.
struct LinkForm {
    EndpointForm form;
    std::string_view note; ///< may be empty
};
inline constexpr std::array<LinkForm, 5> kLinkForms = {{
    {{"serial", "serial:PATH?baud=57600"}, "also parity=none|even|odd, stop=1|2"},
    {{"udp", "udp://ADDRESS:PORT"}, "0.0.0.0 listens on every interface"},
    {{"tcp", "tcp://HOST:PORT"}, ""},
    {{"file", "file:PATH?pace=57600"},
     "a raw capture, pcap or pcapng (udp_port=NUMBER); without pace, at full speed and the only link"},
    {{"broker", "broker:STATION/LINK"}, "what another station publishes; needs the setting broker"},
}};
/// The forms as lines of help, with what every kind takes.
[[nodiscard]] std::string link_forms_help();

/// Fails with one sentence that quotes the URI and says what is wrong in it and what was expected.
[[nodiscard]] Result<LinkUri> parse_link_uri(std::string_view text);

/// Names every link that has no name after its kind ("serial", "serial-2"). Fails when two were given the same name.
[[nodiscard]] Result<void> name_links(std::vector<LinkUri>& uris);

} // namespace turnstone
