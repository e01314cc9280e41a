/// A link's URI: whatever it says, it is refused in one line or gives a source within its limits.
#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <iterator>
#include <string>

#include "server/link/link_uri.hpp"
#include "server/live_out/target.hpp"
#include "shared/uri.hpp"

namespace {

using namespace turnstone;

void demand(bool holds) {
    if (!holds) std::abort();
}

bool one_line(const std::string& text) {
    return std::none_of(
        text.begin(), text.end(), [](char c) { return static_cast<unsigned char>(c) < 0x20 || c == 0x7f; });
}

struct Limits {
    void operator()(const SerialSource& source) const {
        demand(!source.path.empty() && one_line(source.path));
        demand(std::find(std::begin(kBaudRates), std::end(kBaudRates), source.baud) != std::end(kBaudRates));
        demand(source.parity == 'n' || source.parity == 'e' || source.parity == 'o');
        demand(source.stop_bits == 1 || source.stop_bits == 2);
    }
    void operator()(const UdpSource& source) const { demand(!source.address.empty() && source.port > 0); }
    void operator()(const TcpSource& source) const {
        demand(!source.host.empty() && one_line(source.host) && source.port > 0);
    }
    void operator()(const BrokerSource& source) const {
        demand(is_topic_name(source.station) && is_topic_name(source.link));
    }
    void operator()(const FileSource& source) const {
        demand(!source.path.empty() && one_line(source.path));
        demand(source.pace_baud == 0 || source.pace_baud >= 10);
    }
};

/// The components put together again are the text, but for the case of the scheme.
void check_components(const std::string& text) {
    const auto uri = parse_uri(text);
    if (!uri) {
        demand(!uri.error().message.empty() && one_line(uri.error().message));
        return;
    }
    std::string again;
    if (uri->authority) {
        again += "//";
        if (uri->authority->userinfo) again += *uri->authority->userinfo + "@";
        again += uri->authority->host;
        if (uri->authority->port) again += ":" + *uri->authority->port;
    }
    again += uri->path;
    if (uri->query) again += "?" + *uri->query;
    if (uri->fragment) again += "#" + *uri->fragment;
    demand(text.substr(uri->scheme.size() + 1) == again);
    demand(percent_decoded(uri->path).size() <= uri->path.size());
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const std::string text(reinterpret_cast<const char*>(data), size);
    check_components(text);
    if (const auto target = parse_udp_target(text)) demand(!target->address.empty() && target->port != 0);
    const auto link = parse_link_uri(text);
    if (!link) {
        demand(link.error().message.starts_with("link \"") && one_line(link.error().message));
        return 0;
    }
    std::visit(Limits{}, link->source);
    demand(link->name.size() <= 32 && one_line(link->name) && one_line(link->vehicle));
    std::vector<LinkUri> links{*link, *link, *link};
    if (link->name.empty()) {
        demand(name_links(links).has_value());
        demand(links[0].name != links[1].name && links[1].name != links[2].name && links[0].name != links[2].name);
    } else {
        demand(!name_links(links));
    }
    return 0;
}
