#include "server/serve/parse/header_fields.hpp"

#include <algorithm>

namespace turnstone {
namespace {

bool is_digit(char c) {
    return c >= '0' && c <= '9';
}

std::string_view trimmed(std::string_view text) {
    while (!text.empty() && (text.front() == ' ' || text.front() == '\t')) text.remove_prefix(1);
    while (!text.empty() && (text.back() == ' ' || text.back() == '\t')) text.remove_suffix(1);
    return text;
}

/// Calls back with each trimmed element of a list.
template <class F>
void for_each_element(std::string_view list, char separator, F&& on_element) {
    while (!list.empty()) {
        const std::size_t end = std::min(list.find(separator), list.size());
        on_element(trimmed(list.substr(0, end)));
        list.remove_prefix(std::min(end + 1, list.size()));
    }
}

} // namespace

std::string ascii_lower(std::string_view text) {
    std::string out(text);
    for (char& c : out)
        if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
    return out;
}

std::string host_of(std::string_view host_field) {
    std::string_view port;
    std::string_view host = host_field;
    if (!host_field.empty() && host_field.front() == '[') {
        const std::size_t bracket = host_field.find(']');
        if (bracket == std::string_view::npos) return {};
        host = host_field.substr(1, bracket - 1);
        port = host_field.substr(bracket + 1);
    } else if (const std::size_t colon = host_field.find(':'); colon != std::string_view::npos) {
        host = host_field.substr(0, colon);
        port = host_field.substr(colon);
    }
    if (!port.empty() &&
        (port.front() != ':' || port.size() > 6 || !std::all_of(port.begin() + 1, port.end(), is_digit)))
        return {};
    return ascii_lower(host);
}

bool is_same_origin(std::string_view origin, std::string_view host_field) {
    const std::string text = ascii_lower(origin);
    const std::string host = ascii_lower(host_field);
    return text == "http://" + host || text == "https://" + host;
}

bool accepts_gzip(std::string_view accept_encoding) {
    bool accepts = false;
    for_each_element(accept_encoding, ',', [&](std::string_view element) {
        const std::size_t semicolon = std::min(element.find(';'), element.size());
        const std::string coding = ascii_lower(trimmed(element.substr(0, semicolon)));
        if (coding != "gzip" && coding != "x-gzip") return;
        const std::string_view weight = trimmed(element.substr(std::min(semicolon + 1, element.size())));
        // A weight of zero, written with up to three decimals, refuses.
        accepts = !(weight.starts_with("q=0") && weight.substr(3).find_first_not_of(".0") == std::string_view::npos);
    });
    return accepts;
}

bool names_tag(std::string_view if_none_match, std::string_view quoted_tag) {
    bool named = false;
    for_each_element(if_none_match, ',', [&](std::string_view element) {
        if (element.starts_with("W/")) element.remove_prefix(2);
        named = named || element == quoted_tag || element == "*";
    });
    return named;
}

bool is_websocket_key(std::string_view sec_websocket_key) {
    constexpr std::string_view kAlphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    constexpr std::size_t kDigits = 22; // of 6 bits, for 128
    return sec_websocket_key.size() == kDigits + 2 && sec_websocket_key.ends_with("==") &&
           sec_websocket_key.find_first_not_of(kAlphabet) == kDigits;
}

bool is_from_other_page(std::string_view sec_fetch_site) {
    return sec_fetch_site == "cross-site" || sec_fetch_site == "same-site";
}

std::vector<std::string_view> cookie_values(std::string_view cookie_field, std::string_view name) {
    std::vector<std::string_view> values;
    for_each_element(cookie_field, ';', [&](std::string_view pair) {
        if (pair.size() > name.size() && pair.starts_with(name) && pair[name.size()] == '=')
            values.push_back(pair.substr(name.size() + 1));
    });
    return values;
}

} // namespace turnstone
