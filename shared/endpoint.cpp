#include "shared/endpoint.hpp"

#include <algorithm>
#include <charconv>

#include "shared/uri.hpp"

namespace turnstone {

namespace {

constexpr std::size_t kTextLengthMax = 2048;
constexpr std::size_t kShownLengthMax = 120;

bool is_control(char c) {
    return static_cast<unsigned char>(c) < 0x20 || c == 0x7f;
}

bool is_printable(char c) {
    return static_cast<unsigned char>(c) < 0x7f && !is_control(c);
}

std::string all_forms(std::span<const EndpointForm> forms) {
    std::string out;
    for (std::size_t i = 0; i < forms.size(); ++i) {
        out += i == 0 ? "" : i + 1 == forms.size() ? " or " : ", ";
        out += forms[i].form;
    }
    return out;
}

Result<std::string> decoded(std::string_view component, const std::string& name) {
    std::string out = percent_decoded(component);
    if (std::any_of(out.begin(), out.end(), is_control))
        return fail("has an encoded control character in its " + name + "; leave it out");
    return out;
}

Result<void> read_place(const Uri& uri, const EndpointForm& form, Endpoint& out) {
    const std::string expected = "; expected " + std::string(form.form) + ", a port from 1 to 65535, IPv6 in brackets";
    const UriAuthority& place = *uri.authority;
    if (place.userinfo) return fail("names a user" + expected);
    if (place.host.empty()) return fail("names no host" + expected);
    if (!place.port) return fail("has no port" + expected);
    const char* const end = place.port->data() + place.port->size();
    const auto [last, error] = std::from_chars(place.port->data(), end, out.port);
    if (error != std::errc{} || last != end || out.port == 0)
        return fail("has port \"" + place.port->substr(0, kShownLengthMax) + "\"" + expected);
    if (!uri.path.empty()) return fail("has a path" + expected);
    auto host = decoded(place.host, "host");
    if (!host) return fail(host.error().message);
    out.host = host->starts_with('[') ? host->substr(1, host->size() - 2) : std::move(*host);
    return {};
}

Result<void> read_path(const Uri& uri, const EndpointForm& form, Endpoint& out) {
    const std::string expected = "; expected " + std::string(form.form);
    if (uri.authority && (!uri.authority->host.empty() || uri.authority->port || uri.authority->userinfo))
        return fail("has a host between // and the path" + expected);
    if (uri.path.empty()) return fail("names no path" + expected);
    auto path = decoded(uri.path, "path");
    if (!path) return fail(path.error().message);
    out.path = std::move(*path);
    return {};
}

Result<void> read_options(std::string_view query, Endpoint& out) {
    while (true) {
        const std::size_t end = query.find('&');
        const std::string_view option = query.substr(0, end);
        const std::size_t equals = option.find('=');
        if (equals == std::string_view::npos || equals == 0 || equals + 1 == option.size())
            return fail("has \"" + std::string(option) + "\" among its options; expected option=value, joined by &");
        auto key = decoded(option.substr(0, equals), "options");
        auto value = decoded(option.substr(equals + 1), "options");
        if (!key || !value) return fail((key ? value : key).error().message);
        const auto same = [&key](const auto& other) { return other.first == *key; };
        if (std::any_of(out.options.begin(), out.options.end(), same))
            return fail("has option " + *key + " twice; keep one");
        out.options.emplace_back(std::move(*key), std::move(*value));
        if (end == std::string_view::npos) return {};
        query.remove_prefix(end + 1);
    }
}

Result<Endpoint> parse(std::string_view text, std::span<const EndpointForm> forms) {
    if (text.size() > kTextLengthMax)
        return fail("is longer than " + std::to_string(kTextLengthMax) + " characters; shorten it");
    Endpoint out;
    out.scheme = uri_scheme(text);
    const auto form =
        std::find_if(forms.begin(), forms.end(), [&](const EndpointForm& known) { return known.scheme == out.scheme; });
    if (form == forms.end()) return fail("starts with no known scheme; expected " + all_forms(forms));
    if (form->is_place() && !text.substr(out.scheme.size() + 1).starts_with("//"))
        return fail("lacks // after " + out.scheme + ":; expected " + std::string(form->form));
    const auto uri = parse_uri(text);
    if (!uri) return fail(uri.error().message);
    if (uri->fragment) return fail("has a #; write %23 for a plain #");
    const auto read = form->is_place() ? read_place(*uri, *form, out) : read_path(*uri, *form, out);
    if (!read) return fail(read.error().message);
    if (uri->query)
        if (const auto taken = read_options(*uri->query, out); !taken) return fail(taken.error().message);
    return out;
}

} // namespace

std::string named(std::string_view what, std::string_view text) {
    std::string shown(text.substr(0, kShownLengthMax));
    std::replace_if(
        shown.begin(), shown.end(), [](char c) { return !is_printable(c); }, '?');
    return std::string(what) + " \"" + shown + (text.size() > kShownLengthMax ? "…\"" : "\"");
}

Result<Endpoint> parse_endpoint(std::string_view what, std::string_view text, std::span<const EndpointForm> forms) {
    auto endpoint = parse(text, forms);
    if (!endpoint) return fail(named(what, text) + " " + endpoint.error().message);
    return endpoint;
}

} // namespace turnstone
