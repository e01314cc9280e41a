#pragma once
/// Request header fields that are read by hand, RFC 9110 and RFC 6265.
#include <string>
#include <string_view>
#include <vector>

namespace turnstone {

[[nodiscard]] std::string ascii_lower(std::string_view text);

/// Host part of "host", "host:port", "[v6]" or "[v6]:port", lower case, without brackets; empty when it is none of
/// these.
[[nodiscard]] std::string host_of(std::string_view host_field);
/// Whether an Origin field is http(s):// followed by exactly the Host field's authority.
[[nodiscard]] bool is_same_origin(std::string_view origin, std::string_view host_field);
/// Whether an Accept-Encoding field allows gzip (RFC 9110 section 12.5.3).
[[nodiscard]] bool accepts_gzip(std::string_view accept_encoding);
/// Whether an If-None-Match field names the entity tag, quotes included (weak comparison, RFC 9110 section 8.8.3.2).
[[nodiscard]] bool names_tag(std::string_view if_none_match, std::string_view quoted_tag);
/// Sixteen octets in base64, RFC 6455 section 4.2.1 point 5.
[[nodiscard]] bool is_websocket_key(std::string_view sec_websocket_key);
/// Whether a page of another site, or of another port of this host, makes the request (Fetch Metadata, Sec-Fetch-Site).
[[nodiscard]] bool is_from_other_page(std::string_view sec_fetch_site);
/// Values of every cookie of that name: a browser may send several.
[[nodiscard]] std::vector<std::string_view> cookie_values(std::string_view cookie_field, std::string_view name);

} // namespace turnstone
