#include "server/serve/port/request_checks.hpp"

#include <algorithm>
#include <string>
#include <string_view>

#include <boost/beast/core/string.hpp>
#include <boost/beast/http/error.hpp>

#include "server/serve/parse/header_fields.hpp"

namespace turnstone {
namespace {

namespace beast = boost::beast;
namespace http = boost::beast::http;

constexpr std::size_t kTargetBytesMax = 2048;

bool is_number(std::string_view text) {
    return !text.empty() && std::ranges::all_of(
                                text, [](char c) { return c >= '0' && c <= '9'; });
}

} // namespace

Request request_of(const BeastRequest& message) {
    Request request;
    switch (message.method()) {
    case http::verb::get: request.method = Method::get; break;
    case http::verb::head: request.method = Method::head; break;
    case http::verb::post: request.method = Method::post; break;
    case http::verb::delete_: request.method = Method::remove; break;
    default: request.method = Method::other;
    }
    const auto field = [&](http::field name) { return std::string(message[name]); };
    request.host = field(http::field::host);
    request.origin = field(http::field::origin);
    request.cookie = field(http::field::cookie);
    request.content_type = field(http::field::content_type);
    request.accept_encoding = field(http::field::accept_encoding);
    request.if_none_match = field(http::field::if_none_match);
    request.sec_fetch_site = std::string(message["Sec-Fetch-Site"]);
    request.body = message.body();
    request.keep_alive = message.keep_alive();
    return request;
}

std::optional<Answer> answer_to_unreadable(const beast::error_code& error) {
    if (error == http::error::header_limit || error == http::error::buffer_overflow)
        return error_answer(431, "the request's header fields are too long; at most 8 KiB");
    if (error == http::error::body_limit) return error_answer(413, "the request's body is too long; at most 64 KiB");
    if (error == http::error::end_of_stream || error == http::error::partial_message) return std::nullopt;
    if (error.category() == http::make_error_code(http::error::bad_method).category())
        return error_answer(400, "this is not an HTTP/1.1 request: " + error.message());
    return std::nullopt;
}

std::optional<Answer> refuse_framing(const BeastRequest& message) {
    for (const auto& field : message) {
        if (field.name() == http::field::content_length && !is_number(field.value()))
            return error_answer(400, "Content-Length must be one number (RFC 9112 section 6.3)");
        if (field.name() == http::field::transfer_encoding && !beast::iequals(field.value(), "chunked"))
            return error_answer(501, "the only transfer coding understood here is 'chunked' (RFC 9112 section 6.1)");
    }
    if (message.count(http::field::content_length) > 1)
        return error_answer(400, "Content-Length must be given once (RFC 9112 section 6.3)");
    return std::nullopt;
}

std::optional<Answer> refuse_source(const BeastRequest& message, const Request& request, HostCheck& hosts) {
    if (message.target().size() > kTargetBytesMax)
        return error_answer(414, "the request's target is too long; at most 2048 bytes");
    if (message.count(http::field::host) != 1)
        return error_answer(400, "a request needs exactly one Host field (RFC 9112 section 3.2)");
    if (!hosts.host_allowed(request.host))
        return error_answer(
            403, "the name in the Host field is not one of this server's; open it by its address, or add the name to "
                 "'host_names' in the configuration");
    if (!request.origin.empty() && !is_same_origin(request.origin, request.host))
        return error_answer(403, "pages of other servers are refused here; open the dashboard from this server itself");
    // A link elsewhere may lead to the dashboard; what elsewhere shows or fetches may not be ours.
    if (message.target().starts_with("/api/") && is_from_other_page(request.sec_fetch_site))
        return error_answer(403, "pages of other servers may not use this one; open the dashboard and ask from there");
    return std::nullopt;
}

} // namespace turnstone
