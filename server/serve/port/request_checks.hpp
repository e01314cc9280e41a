#pragma once
/// From Beast's request to ours, and refusals that do not depend on the address asked for.
#include <cstdint>
#include <optional>

#include <boost/beast/core/error.hpp>
#include <boost/beast/http/message.hpp>
#include <boost/beast/http/string_body.hpp>

#include "server/serve/http/access.hpp"
#include "server/serve/http/answer.hpp"

namespace turnstone {

using BeastRequest = boost::beast::http::request<boost::beast::http::string_body>;

inline constexpr std::uint32_t kHeaderBytesMax = 8u << 10;
inline constexpr std::uint64_t kBodyBytesMax = 64u << 10;

[[nodiscard]] Request request_of(const BeastRequest& message);
/// The answer to a request that could not be read; empty: the connection is gone.
[[nodiscard]] std::optional<Answer> answer_to_unreadable(const boost::beast::error_code& error);
/// Refusals after which the connection must end, because where the next request begins is not certain (RFC 9112
/// section 6). Empty: go on.
[[nodiscard]] std::optional<Answer> refuse_framing(const BeastRequest& message);
/// Refusals by size, Host, Origin and Sec-Fetch-Site. Empty: go on.
[[nodiscard]] std::optional<Answer> refuse_source(const BeastRequest& message, const Request& request,
                                                  HostCheck& hosts);

} // namespace turnstone
