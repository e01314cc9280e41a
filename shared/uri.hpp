#pragma once
/// Generic URI syntax (RFC 3986): splits a URI into its components. What a scheme means is the caller's business.
///
///   foo://example.com:8042/over/there?name=ferret#nose
///   \_/   \______________/\_________/ \_________/ \__/
///  scheme    authority        path       query  fragment
#include <optional>
#include <string>
#include <string_view>

#include "shared/result.hpp"

namespace turnstone {

/// Section 3.2: [ userinfo "@" ] host [ ":" port ].
struct UriAuthority {
    std::optional<std::string> userinfo;
    std::string host;                ///< IPv6 in its brackets; may be empty
    std::optional<std::string> port; ///< digits only; may be empty
};

/// Every component but the scheme is as the URI has it, percent-encoding included; decode it once it needs no more
/// splitting (section 2.4).
struct Uri {
    std::string scheme; ///< in lower case (section 3.1)
    std::optional<UriAuthority> authority;
    std::string path; ///< may be empty
    std::optional<std::string> query;
    std::optional<std::string> fragment;
};

/// The scheme in lower case; empty when `text` begins with none.
[[nodiscard]] std::string uri_scheme(std::string_view text);

/// Takes what the grammar of appendix A allows except IPvFuture, since no such address exists. Fails with "has ...;
/// ...": what is wrong and what to write; put the name of what was parsed in front.
[[nodiscard]] Result<Uri> parse_uri(std::string_view text);

/// The value of `key` in a query of the form key=value&key=value, percent-encoding undone; the first of several.
[[nodiscard]] std::optional<std::string> query_option(std::string_view query, std::string_view key);

/// Undoes percent-encoding in a component that parse_uri let through.
[[nodiscard]] std::string percent_decoded(std::string_view component);

} // namespace turnstone
