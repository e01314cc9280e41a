#include "server/serve/port/http_connections.hpp"

#include <chrono>
#include <optional>

#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/core/tcp_stream.hpp>
#include <boost/beast/http/parser.hpp>
#include <boost/beast/http/read.hpp>
#include <boost/beast/http/string_body.hpp>
#include <boost/beast/websocket/rfc6455.hpp>

#include "server/serve/parse/header_fields.hpp"
#include "server/serve/port/no_throw.hpp"

namespace turnstone {
namespace {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = boost::beast::http;
using asio::awaitable;
using tcp = asio::ip::tcp;

constexpr std::chrono::seconds kRequestTime{10};
constexpr std::uint32_t kHeaderBytesMax = 8u << 10;
constexpr std::uint64_t kBodyBytesMax = 64u << 10;
constexpr std::size_t kTargetBytesMax = 2048;

using Parser = http::request_parser<http::string_body>;

struct ScopedCount {
    explicit ScopedCount(std::size_t& count) : count_(count) { ++count_; }
    ~ScopedCount() { --count_; }
    ScopedCount(const ScopedCount&) = delete;
    ScopedCount& operator=(const ScopedCount&) = delete;
    std::size_t& count_;
};

Request request_of(const http::request<http::string_body>& message) {
    Request request;
    switch (message.method()) {
    case http::verb::get: request.method = Method::get; break;
    case http::verb::head: request.method = Method::head; break;
    case http::verb::post: request.method = Method::post; break;
    default: request.method = Method::other;
    }
    const auto field = [&](http::field name) { return std::string(message[name]); };
    request.host = field(http::field::host);
    request.origin = field(http::field::origin);
    request.cookie = field(http::field::cookie);
    request.content_type = field(http::field::content_type);
    request.accept_encoding = field(http::field::accept_encoding);
    request.if_none_match = field(http::field::if_none_match);
    request.body = message.body();
    request.keep_alive = message.keep_alive();
    return request;
}

/// The answer to a request that could not be read; empty: the connection is gone.
std::optional<Answer> unreadable(const beast::error_code& error) {
    if (error == http::error::header_limit || error == http::error::buffer_overflow)
        return error_answer(431, "the request's header fields are too long; at most 8 KiB");
    if (error == http::error::body_limit) return error_answer(413, "the request's body is too long; at most 64 KiB");
    if (error == http::error::end_of_stream || error == http::error::partial_message) return std::nullopt;
    if (error.category() == http::make_error_code(http::error::bad_method).category())
        return error_answer(400, "this is not an HTTP/1.1 request: " + error.message());
    return std::nullopt;
}

/// Refusals that do not depend on the address asked for. Empty: go on.
std::optional<Answer> refusal(const http::request<http::string_body>& message, const Request& request,
                              HostCheck& hosts) {
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
    return std::nullopt;
}

} // namespace

bool HttpConnections::is_ours(const Request& request) {
    return hosts_.host_allowed(request.host) &&
           (request.origin.empty() || is_same_origin(request.origin, request.host));
}

awaitable<void> HttpConnections::serve(tcp::socket socket) {
    const auto self = shared_from_this(); // the frame may be destroyed after everything else, with the io_context
    const ScopedCount connection(count_);
    beast::error_code failed;
    const auto remote = socket.remote_endpoint(failed);
    if (failed) co_return;
    const std::string remote_address = remote.address().to_string();
    beast::tcp_stream stream(std::move(socket));
    beast::flat_buffer buffer(kHeaderBytesMax + kBodyBytesMax);
    while (!stopping_) {
        Parser parser;
        parser.header_limit(kHeaderBytesMax);
        parser.body_limit(kBodyBytesMax);
        stream.expires_after(kRequestTime);
        const auto [error, size] = co_await http::async_read(stream, buffer, parser, kNoThrow);
        const ScopedCount answering(answers_open_);
        if (error) {
            if (const auto answer = unreadable(error)) {
                const Request unknown;
                co_await sender_.send(stream, *answer, unknown, false);
                co_await hang_up(stream);
            }
            co_return;
        }
        const auto& message = parser.get();
        Request request = request_of(message);
        request.remote_address = remote_address;
        if (beast::websocket::is_upgrade(message) && message.target() == "/api/stream" &&
            message.count(http::field::host) == 1) {
            co_await entrance_.admit(stream, buffer, message, is_ours(request));
            co_return;
        }
        Answer answer;
        if (auto refused = refusal(message, request, hosts_)) {
            answer = std::move(*refused);
            request.host.clear(); // not known to be ours: it has no place in our header
        } else if (auto target = parse_target(message.target()); !target) {
            answer = error_answer(400, target.error().message);
        } else {
            request.target = std::move(*target);
            answer = co_await api_.answer(request);
        }
        if (!co_await sender_.send(stream, answer, request, request.keep_alive && !stopping_)) {
            co_await hang_up(stream);
            co_return;
        }
    }
}

} // namespace turnstone
