#include "shared/uri.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cstdio>

#include <arpa/inet.h>

namespace turnstone {

namespace {

// The character sets of RFC 3986, appendix A. <cctype> would ask the locale.
constexpr std::string_view kDigits = "0123456789";
constexpr std::string_view kUnreservedMarks = "-._~";
constexpr std::string_view kSubDelims = "!$&'()*+,;=";

bool is_digit(char c) {
    return kDigits.find(c) != std::string_view::npos;
}
bool is_letter(char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}
bool is_hex(char c) {
    return is_digit(c) || (c >= 'a' && c <= 'f') || (c >= 'A' && c <= 'F');
}
bool is_plain(char c) {
    return is_letter(c) || is_digit(c) || kUnreservedMarks.find(c) != std::string_view::npos ||
           kSubDelims.find(c) != std::string_view::npos;
}

/// The component holds unreserved characters, sub-delims, percent-encoded octets and those of `also`.
Result<void> check(std::string_view component, std::string_view also, const std::string& name) {
    for (std::size_t i = 0; i < component.size(); ++i) {
        const char c = component[i];
        if (is_plain(c) || also.find(c) != std::string_view::npos) continue;
        if (c == '%') {
            if (i + 2 >= component.size() || !is_hex(component[i + 1]) || !is_hex(component[i + 2]))
                return fail("has a % in its " + name + " without two hexadecimal digits; write %25 for a plain %");
            i += 2;
            continue;
        }
        std::array<char, 4> encoded;
        std::snprintf(encoded.data(), encoded.size(), "%%%02X", static_cast<unsigned char>(c));
        return fail("has a character in its " + name + " that a URI cannot hold; write it as " + encoded.data());
    }
    return {};
}

Result<UriAuthority> parse_authority(std::string_view text) {
    UriAuthority out;
    if (const std::size_t at = text.find('@'); at != std::string_view::npos) {
        out.userinfo = std::string(text.substr(0, at));
        if (auto good = check(*out.userinfo, ":", "user name"); !good) return fail(good.error().message);
        text.remove_prefix(at + 1);
    }
    const bool bracket = text.starts_with('[');
    const std::size_t host_end = bracket ? text.find(']') : text.find(':');
    if (bracket && host_end == std::string_view::npos) return fail("has a [ without its ]; write IPv6 in brackets");
    out.host = std::string(text.substr(0, bracket ? host_end + 1 : host_end));
    text.remove_prefix(out.host.size());
    if (bracket) {
        in6_addr ignored{};
        const std::string address = out.host.substr(1, out.host.size() - 2);
        if (address.find('\0') != std::string::npos || ::inet_pton(AF_INET6, address.c_str(), &ignored) != 1)
            return fail("has brackets around what is not an IPv6 address; write it as in [2001:db8::7]");
    } else if (auto good = check(out.host, "", "host"); !good) {
        return fail(good.error().message);
    }
    if (text.empty()) return out;
    if (text.front() != ':') return fail("has something between ] and the port; write [ADDRESS]:PORT");
    out.port = std::string(text.substr(1));
    if (!std::all_of(out.port->begin(), out.port->end(), is_digit))
        return fail("has a port that is not a number; a port has only digits, and IPv6 goes in brackets");
    return out;
}

} // namespace

std::string uri_scheme(std::string_view text) {
    std::string scheme;
    for (const char c : text) {
        if (c == ':') return scheme;
        if (!is_letter(c) && (scheme.empty() || !(is_digit(c) || c == '+' || c == '-' || c == '.'))) break;
        scheme += c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
    }
    return {};
}

Result<Uri> parse_uri(std::string_view text) {
    Uri uri;
    uri.scheme = uri_scheme(text);
    if (uri.scheme.empty()) return fail("has no scheme; a URI begins with one, as in tcp://example.com:8042");
    text.remove_prefix(uri.scheme.size() + 1);
    const auto take_until = [&text](std::string_view stops) {
        const std::string_view taken = text.substr(0, text.find_first_of(stops));
        text.remove_prefix(taken.size());
        return taken;
    };
    if (text.starts_with("//")) {
        text.remove_prefix(2);
        auto authority = parse_authority(take_until("/?#"));
        if (!authority) return fail(authority.error().message);
        uri.authority = std::move(*authority);
    }
    uri.path = std::string(take_until("?#"));
    if (auto good = check(uri.path, ":@/", "path"); !good) return fail(good.error().message);
    if (text.starts_with('?')) {
        uri.query = std::string(take_until("#").substr(1));
        if (auto good = check(*uri.query, ":@/?", "query"); !good) return fail(good.error().message);
    }
    if (text.starts_with('#')) {
        uri.fragment = std::string(text.substr(1));
        if (auto good = check(*uri.fragment, ":@/?", "fragment"); !good) return fail(good.error().message);
    }
    return uri;
}

std::optional<std::string> query_option(std::string_view query, std::string_view key) {
    while (!query.empty()) {
        const std::string_view part = query.substr(0, query.find('&'));
        query.remove_prefix(std::min(query.size(), part.size() + 1));
        if (part.size() > key.size() && part.starts_with(key) && part[key.size()] == '=')
            return percent_decoded(part.substr(key.size() + 1));
    }
    return std::nullopt;
}

std::string percent_decoded(std::string_view component) {
    std::string out;
    for (std::size_t i = 0; i < component.size(); ++i) {
        if (component[i] != '%' || i + 2 >= component.size()) {
            out += component[i];
            continue;
        }
        unsigned byte = 0;
        std::from_chars(component.data() + i + 1, component.data() + i + 3, byte, 16);
        out += static_cast<char>(byte);
        i += 2;
    }
    return out;
}

} // namespace turnstone
