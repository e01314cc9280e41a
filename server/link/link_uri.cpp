#include <algorithm>
#include <charconv>
#include <iterator>
#include <optional>
#include <utility>

#include <boost/asio/ip/address.hpp>

#include "server/link/link.hpp"

namespace turnstone {

namespace {

constexpr std::size_t kUriLengthMax = 2048;

std::optional<unsigned> whole_number(std::string_view text) {
    unsigned value = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc{} || end != text.data() + text.size() || text.empty()) return std::nullopt;
    return value;
}

std::optional<std::string> percent_decode(std::string_view text) {
    std::string out;
    for (std::size_t i = 0; i < text.size(); ++i) {
        if (text[i] != '%') {
            out += text[i];
            continue;
        }
        unsigned octet = 0;
        if (i + 2 >= text.size()) return std::nullopt;
        const char* const digits = text.data() + i + 1;
        const auto [end, error] = std::from_chars(digits, digits + 2, octet, 16);
        if (error != std::errc{} || end != digits + 2 || octet == 0) return std::nullopt;
        out += static_cast<char>(octet);
        i += 2;
    }
    return out;
}

bool is_short_name(std::string_view text) {
    return !text.empty() && text.size() <= 32 &&
           std::all_of(
               text.begin(), text.end(),
               [](char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '_' || c == '-'; });
}

struct HostPort {
    std::string host;
    std::uint16_t port;
};

/// Reads one URI; remembers the first mistake.
class UriReader {
  public:
    explicit UriReader(std::string_view text) : text_(text) {}

    Result<LinkUri> read() {
        LinkUri uri;
        uri.text = std::string(text_);
        if (text_.size() > kUriLengthMax)
            return fail("link: the URI is longer than " + std::to_string(kUriLengthMax) + " characters");
        const std::size_t colon = text_.find(':');
        const std::string_view kind = text_.substr(0, colon);
        if (colon == std::string_view::npos || (kind != "serial" && kind != "udp" && kind != "tcp" && kind != "file"))
            return wrong("starts with no known kind", "must start with serial:, udp:, tcp: or file:");
        const std::size_t question = text_.find('?', colon);
        const std::string_view where =
            text_.substr(colon + 1, question == std::string_view::npos ? std::string_view::npos : question - colon - 1);
        if (question != std::string_view::npos) read_options(text_.substr(question + 1));
        if (kind == "serial") {
            uri.source = read_serial(where);
        } else if (kind == "udp") {
            uri.source = read_udp(where);
        } else if (kind == "tcp") {
            const HostPort place = read_host_port(where, "tcp:HOST:PORT");
            uri.source = LinkUri::Tcp{place.host, place.port};
        } else {
            uri.source = read_file(where);
        }
        uri.name = take("name").value_or("");
        if (!uri.name.empty() && !is_short_name(uri.name))
            note("has name=" + uri.name, "a name has 1 to 32 of a-z, 0-9, _ and -");
        uri.vehicle = take("vehicle").value_or("");
        if (const auto framing = take("framing"); framing && *framing != "cobs")
            note("has framing=" + *framing, "the only framing is cobs");
        for (const auto& [key, value] : options_) {
            note("has the unknown option " + key,
                 "known for " + std::string(kind) + ": " + known_ + " (each as option=value, joined by &)");
        }
        if (!error_.empty()) return fail(error_);
        return uri;
    }

  private:
    tl::unexpected<Error> wrong(const std::string& what, const std::string& right) {
        note(what, right);
        return fail(error_);
    }

    void note(const std::string& what, const std::string& right) {
        if (error_.empty()) error_ = "link \"" + std::string(text_) + "\" " + what + "; " + right;
    }

    void read_options(std::string_view text) {
        while (true) {
            const std::size_t end = text.find('&');
            const std::string_view option = text.substr(0, end);
            const std::size_t equals = option.find('=');
            if (equals == std::string_view::npos || equals == 0 || equals + 1 == option.size()) {
                note("has \"" + std::string(option) + "\" among its options", "must be option=value, joined by &");
            } else {
                std::string key(option.substr(0, equals));
                const auto value = percent_decode(option.substr(equals + 1));
                if (!value)
                    note("has a % in option " + key + " without two hexadecimal digits", "write %25 for a plain %");
                else if (std::any_of(options_.begin(), options_.end(), [&](const auto& o) { return o.first == key; }))
                    note("has option " + key + " twice", "keep one");
                else
                    options_.emplace_back(std::move(key), *value);
            }
            if (end == std::string_view::npos) return;
            text.remove_prefix(end + 1);
        }
    }

    std::optional<std::string> take(const std::string& key) {
        known_ += (known_.empty() ? "" : ", ") + key;
        const auto it = std::find_if(options_.begin(), options_.end(), [&](const auto& o) { return o.first == key; });
        if (it == options_.end()) return std::nullopt;
        std::string value = std::move(it->second);
        options_.erase(it);
        return value;
    }

    std::string read_path(std::string_view where, const char* form) {
        if (where.empty()) {
            note("names no path", "must be " + std::string(form));
            return {};
        }
        const auto path = percent_decode(where);
        if (!path) note("has a % in its path without two hexadecimal digits", "write %25 for a plain %");
        return path.value_or("");
    }

    LinkUri::Serial read_serial(std::string_view where) {
        LinkUri::Serial out;
        out.path = read_path(where, "serial:PATH?baud=RATE");
        if (const auto baud = take("baud")) {
            out.baud = whole_number(*baud).value_or(0);
            if (std::find(std::begin(kBaudRates), std::end(kBaudRates), out.baud) == std::end(kBaudRates)) {
                std::string rates;
                for (const unsigned rate : kBaudRates) rates += (rates.empty() ? "" : " ") + std::to_string(rate);
                note("has baud=" + *baud, "must be one of " + rates);
            }
        }
        if (const auto parity = take("parity")) {
            if (*parity == "none" || *parity == "even" || *parity == "odd")
                out.parity = parity->front();
            else
                note("has parity=" + *parity, "must be none, even or odd");
        }
        if (const auto stop = take("stop")) {
            out.stop_bits = whole_number(*stop).value_or(0);
            if (out.stop_bits != 1 && out.stop_bits != 2) note("has stop=" + *stop, "must be 1 or 2");
        }
        return out;
    }

    LinkUri::File read_file(std::string_view where) {
        LinkUri::File out;
        out.path = read_path(where, "file:PATH?pace=RATE");
        if (const auto pace = take("pace")) {
            out.pace_baud = whole_number(*pace).value_or(0);
            if (out.pace_baud < 10 || out.pace_baud > 1'000'000'000)
                note("has pace=" + *pace, "must be a bit rate from 10 to 1000000000; leave it out for full speed");
        }
        return out;
    }

    LinkUri::Udp read_udp(std::string_view where) {
        const HostPort place = read_host_port(where, "udp:ADDRESS:PORT");
        boost::system::error_code error;
        boost::asio::ip::make_address(place.host, error);
        if (error) {
            note("has \"" + place.host + "\" for an address",
                 "must be a numeric address of this machine, or 0.0.0.0 for all of them");
        }
        return {place.host, place.port};
    }

    HostPort read_host_port(std::string_view where, const char* form) {
        const bool bracket = !where.empty() && where.front() == '[';
        const std::size_t host_end = bracket ? where.find(']') : where.rfind(':');
        const std::size_t colon = bracket && host_end != std::string_view::npos ? host_end + 1 : host_end;
        const std::string right = "must be " + std::string(form) + ", a port from 1 to 65535, IPv6 in brackets";
        if (colon == std::string_view::npos || colon >= where.size() || where[colon] != ':') {
            note("has no port", right);
            return {};
        }
        const std::string_view host = bracket ? where.substr(1, host_end - 1) : where.substr(0, host_end);
        const std::string_view port_text = where.substr(colon + 1);
        const unsigned port = whole_number(port_text).value_or(0);
        if (port < 1 || port > 65535)
            note("has port \"" + std::string(port_text) + "\"", right);
        else if (host.empty())
            note("names no host", right);
        else if (!bracket && host.find(':') != std::string_view::npos)
            note("has more than one colon", right);
        return {std::string(host), static_cast<std::uint16_t>(port)};
    }

    std::string_view text_;
    std::vector<std::pair<std::string, std::string>> options_;
    std::string known_;
    std::string error_;
};

} // namespace

Result<LinkUri> parse_link_uri(std::string_view text) {
    return UriReader(text).read();
}

Result<void> name_links(std::vector<LinkUri>& uris) {
    const auto taken = [&uris](const std::string& name) {
        return std::count_if(uris.begin(), uris.end(), [&](const LinkUri& uri) { return uri.name == name; });
    };
    for (const LinkUri& uri : uris)
        if (!uri.name.empty() && taken(uri.name) > 1)
            return fail("two links are named \"" + uri.name + "\"; give each its own name=");
    for (LinkUri& uri : uris) {
        const std::string kind = uri.text.substr(0, uri.text.find(':'));
        for (int number = 2; uri.name.empty(); ++number) {
            const std::string name = number == 2 && taken(kind) == 0 ? kind : kind + "-" + std::to_string(number);
            if (taken(name) == 0) uri.name = name;
        }
    }
    return {};
}

} // namespace turnstone
