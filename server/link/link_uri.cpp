#include "server/link/link_uri.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <iterator>
#include <optional>
#include <utility>

#include <boost/asio/ip/address.hpp>

#include "shared/geodesy.hpp"
#include "shared/uri.hpp"

namespace turnstone {

namespace {

constexpr auto kForms = [] {
    std::array<EndpointForm, kLinkForms.size()> forms{};
    std::ranges::transform(kLinkForms, forms.begin(), &LinkForm::form);
    return forms;
}();

constexpr unsigned kLatencyMax_ms = 10000;
constexpr unsigned kPaceBaudMin = 10;
constexpr unsigned kPaceBaudMax = 1'000'000'000;

std::optional<unsigned> whole_number(std::string_view text) {
    unsigned value = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc{} || end != text.data() + text.size()) return std::nullopt;
    return value;
}

/// Makes a link of an endpoint; remembers the first mistake.
class LinkReader {
  public:
    LinkReader(std::string_view text, Endpoint endpoint) : text_(text), endpoint_(std::move(endpoint)) {}

    Result<LinkUri> read() {
        LinkUri uri;
        uri.text = std::string(text_);
        if (endpoint_.scheme == "serial")
            uri.source = serial();
        else if (endpoint_.scheme == "udp")
            uri.source = udp();
        else if (endpoint_.scheme == "tcp")
            uri.source = TcpSource{endpoint_.host, endpoint_.port};
        else if (endpoint_.scheme == "broker")
            uri.source = broker();
        else
            uri.source = file();
        uri.name = take("name").value_or("");
        if (!uri.name.empty() && !is_topic_name(uri.name))
            note("has name=" + uri.name, "expected 1 to 32 of a-z, 0-9, _ and -");
        uri.vehicle = take("vehicle").value_or("");
        if (const auto latency = take("latency_ms");
            latency && whole_number(*latency).value_or(kLatencyMax_ms + 1) > kLatencyMax_ms)
            note("has latency_ms=" + *latency,
                 "expected how long the radios keep a frame, in whole milliseconds up to " +
                     std::to_string(kLatencyMax_ms));
        if (const auto place = take("place"); place && !position_in(*place))
            note("has place=" + *place, "expected latitude,longitude of its antenna in degrees, such as -47.25,68.5");
        if (const auto framing = take("framing")) {
            uri.framing.emplace_back("framing", *framing);
            std::ranges::move(endpoint_.options, std::back_inserter(uri.framing));
            endpoint_.options.clear();
        }
        if (!endpoint_.options.empty())
            note("has the unknown option " + endpoint_.options.front().first,
                 endpoint_.scheme + " takes " + known_ + " (each as option=value, joined by &)");
        if (!error_.empty()) return fail(error_);
        return uri;
    }

  private:
    void note(const std::string& what, const std::string& right) {
        if (error_.empty()) error_ = named("link", text_) + " " + what + "; " + right;
    }

    std::optional<std::string> take(const std::string& key) {
        known_ += (known_.empty() ? "" : ", ") + key;
        auto& options = endpoint_.options;
        const auto it = std::find_if(options.begin(), options.end(), [&](const auto& o) { return o.first == key; });
        if (it == options.end()) return std::nullopt;
        std::string value = std::move(it->second);
        options.erase(it);
        return value;
    }

    SerialSource serial() {
        SerialSource out{.path = endpoint_.path};
        if (const auto baud = take("baud")) {
            out.baud = whole_number(*baud).value_or(0);
            if (std::find(std::begin(kBaudRates), std::end(kBaudRates), out.baud) == std::end(kBaudRates)) {
                std::string rates;
                for (const unsigned rate : kBaudRates) rates += (rates.empty() ? "" : " ") + std::to_string(rate);
                note("has baud=" + *baud, "expected one of " + rates);
            }
        }
        if (const auto parity = take("parity")) {
            if (*parity == "none" || *parity == "even" || *parity == "odd")
                out.parity = parity->front();
            else
                note("has parity=" + *parity, "expected none, even or odd");
        }
        if (const auto stop = take("stop")) {
            out.stop_bits = whole_number(*stop).value_or(0);
            if (out.stop_bits != 1 && out.stop_bits != 2) note("has stop=" + *stop, "expected 1 or 2");
        }
        return out;
    }

    UdpSource udp() {
        boost::system::error_code error;
        boost::asio::ip::make_address(endpoint_.host, error);
        if (error) {
            note("has \"" + endpoint_.host + "\", which is not a numeric address",
                 "expected an address of this machine, or 0.0.0.0 for all of them");
        }
        return {.address = endpoint_.host, .port = endpoint_.port};
    }

    FileSource file() {
        FileSource out{.path = endpoint_.path};
        if (const auto pace = take("pace")) {
            out.pace_baud = whole_number(*pace).value_or(0);
            if (out.pace_baud < kPaceBaudMin || out.pace_baud > kPaceBaudMax)
                note("has pace=" + *pace, "expected a bit rate from " + std::to_string(kPaceBaudMin) + " to " +
                                              std::to_string(kPaceBaudMax) + ", or no pace for full speed");
        }
        if (const auto port = take("udp_port")) {
            constexpr unsigned kPortMost = 65'535;
            const unsigned number = whole_number(*port).value_or(0);
            if (number == 0 || number > kPortMost)
                note("has udp_port=" + *port, "expected the port that the datagrams of a packet capture go to");
            out.udp_port = static_cast<std::uint16_t>(number);
        }
        return out;
    }

    BrokerSource broker() {
        const std::size_t slash = endpoint_.path.find('/');
        BrokerSource out{.station = endpoint_.path.substr(0, slash),
                         .link = slash == std::string::npos ? "" : endpoint_.path.substr(slash + 1)};
        if (!is_topic_name(out.station) || !is_topic_name(out.link))
            note("has \"" + endpoint_.path + "\"", "expected broker:STATION/LINK, each 1 to 32 of a-z, 0-9, _ and -");
        return out;
    }

    std::string_view text_;
    Endpoint endpoint_;
    std::string known_; ///< options asked for so far
    std::string error_;
};

} // namespace

std::string link_forms_help() {
    std::size_t width = 0;
    for (const LinkForm& link : kLinkForms) width = std::max(width, link.form.form.size());
    std::string out = "One of\n";
    for (const LinkForm& link : kLinkForms) {
        std::string line = "  " + std::string(link.form.form);
        if (!link.note.empty()) line += std::string(width + 5 - line.size(), ' ') + "(" + std::string(link.note) + ")";
        out += line + "\n";
    }
    return out + "Each also takes name=SHORT, latency_ms=NUMBER (how long the radios keep a frame), "
                 "place=LATITUDE,LONGITUDE\n"
                 "(of its antenna, for the map), framing=NAME and, with several vehicles, vehicle=NAME.\n"
                 "Write ? before the first option and & before each further one.";
}

Result<LinkUri> parse_link_uri(std::string_view text) {
    auto endpoint = parse_endpoint("link", text, kForms);
    if (!endpoint) return fail(endpoint.error().message);
    return LinkReader(text, std::move(*endpoint)).read();
}

Result<void> name_links(std::vector<LinkUri>& uris) {
    const auto taken = [&uris](const std::string& name) {
        return std::count_if(uris.begin(), uris.end(), [&](const LinkUri& uri) { return uri.name == name; });
    };
    for (const LinkUri& uri : uris)
        if (!uri.name.empty() && taken(uri.name) > 1)
            return fail("two links are named \"" + uri.name + "\"; give each its own name=");
    for (LinkUri& uri : uris) {
        const std::string kind = uri_scheme(uri.text);
        for (int number = 2; uri.name.empty(); ++number) {
            const std::string name = number == 2 && taken(kind) == 0 ? kind : kind + "-" + std::to_string(number);
            if (taken(name) == 0) uri.name = name;
        }
    }
    return {};
}

} // namespace turnstone
