#include "server/serve/http/session.hpp"

#include <array>
#include <chrono>
#include <optional>

#include <unistd.h>

#include <boost/asio/as_tuple.hpp>
#include <boost/asio/buffer.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <boost/asio/write.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/core/tcp_stream.hpp>
#include <boost/beast/http/parser.hpp>
#include <boost/beast/http/read.hpp>
#include <boost/beast/http/string_body.hpp>
#include <boost/beast/websocket/rfc6455.hpp>
#include <boost/beast/websocket/stream.hpp>

#include "server/serve/http/on_worker.hpp"
#include "server/serve/parse/header_fields.hpp"
#include "server/serve/parse/websocket_frame.hpp"

namespace turnstone {
namespace {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = boost::beast::http;
using asio::awaitable;
using tcp = asio::ip::tcp;

constexpr auto kNoThrow = asio::as_tuple(asio::use_awaitable);
constexpr std::chrono::seconds kRequestTime{10};
constexpr std::chrono::seconds kSendTime{30}; // per answer, and per piece of a download
constexpr std::uint32_t kHeaderBytesMax = 8u << 10;
constexpr std::uint64_t kBodyBytesMax = 64u << 10;
constexpr std::size_t kTargetBytesMax = 2048;
constexpr std::size_t kDownloadPieceBytes = 256u << 10;
constexpr std::size_t kDrainBytesMax = 1u << 20;

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
                              HttpShared& shared) {
    if (message.target().size() > kTargetBytesMax)
        return error_answer(414, "the request's target is too long; at most 2048 bytes");
    if (message.count(http::field::host) != 1)
        return error_answer(400, "a request needs exactly one Host field (RFC 9112 section 3.2)");
    if (!shared.hosts.host_allowed(request.host))
        return error_answer(
            403, "the name in the Host field is not one of this server's; open it by its address, or add the name to "
                 "'host_names' in the configuration");
    if (!request.origin.empty() && !is_same_origin(request.origin, request.host))
        return error_answer(403, "pages of other servers are refused here; open the dashboard from this server itself");
    return std::nullopt;
}

awaitable<bool> send_file(beast::tcp_stream& stream, HttpShared& shared, const Answer& answer) {
    for (std::uint64_t at = 0; at < answer.file_bytes;) {
        const auto size =
            static_cast<std::size_t>(std::min<std::uint64_t>(kDownloadPieceBytes, answer.file_bytes - at));
        const WorkerTask read = [file = answer.file, at, size](ReaderCache&) {
            Answer piece;
            piece.body.resize(size);
            const ssize_t got = ::pread(file->descriptor(), piece.body.data(), size, static_cast<off_t>(at));
            piece.body.resize(got > 0 ? static_cast<std::size_t>(got) : 0);
            return piece;
        };
        const Answer piece = co_await on_worker(shared.workers, read);
        if (piece.status != 200 || piece.body.empty())
            co_return false; // the length is promised already, so cutting the connection tells the truth
        stream.expires_after(kSendTime);
        const auto [error, sent] = co_await asio::async_write(stream, asio::buffer(piece.body), kNoThrow);
        if (error) co_return false;
        at += piece.body.size();
    }
    co_return true;
}

/// False: the connection is over.
awaitable<bool> send(beast::tcp_stream& stream, HttpShared& shared, const Answer& answer, const Request& request,
                     bool keep_alive) {
    ++shared.counters.http_answers[std::min<std::size_t>(answer.status / 100, 5)];
    const std::string header = answer_header(answer, request.host, keep_alive);
    const bool with_body = request.method != Method::head && answer.status != 304;
    const bool from_file = with_body && answer.file != nullptr;
    std::array<asio::const_buffer, 2> buffers{asio::buffer(header), asio::const_buffer{}};
    if (with_body && !from_file)
        buffers[1] = answer.stored.empty() ? asio::buffer(answer.body)
                                           : asio::buffer(answer.stored.data(), answer.stored.size());
    stream.expires_after(kSendTime);
    const auto [error, sent] = co_await asio::async_write(stream, buffers, kNoThrow);
    if (error) co_return false;
    if (from_file && !co_await send_file(stream, shared, answer)) co_return false;
    co_return keep_alive;
}

/// Reads and discards what the client still sends: closing with unread data would reset the connection and lose the
/// answer (RFC 9112 section 9.6).
awaitable<void> hang_up(beast::tcp_stream& stream) {
    beast::error_code ignored; // already gone is as good
    stream.socket().shutdown(tcp::socket::shutdown_send, ignored);
    stream.expires_after(std::chrono::seconds(2));
    std::array<char, 8192> rest;
    for (std::size_t total = 0; total < kDrainBytesMax;) {
        const auto [error, size] = co_await stream.async_read_some(asio::buffer(rest), kNoThrow);
        if (error) co_return;
        total += size;
    }
}

awaitable<void> refuse_viewer(tcp::socket socket, CloseCode code, std::string_view reason) {
    beast::tcp_stream stream(std::move(socket));
    stream.expires_after(std::chrono::seconds(2));
    const WireMessage message = close_message(code, reason);
    const auto [error, sent] = co_await asio::async_write(stream, asio::buffer(*message), kNoThrow);
    if (!error) co_await hang_up(stream);
}

/// The handshake is Beast's; the frames afterwards are ours (websocket_frame.hpp).
awaitable<void> become_viewer(beast::tcp_stream& stream, beast::flat_buffer& buffer,
                              const http::request<http::string_body>& message, const Request& request,
                              HttpShared& shared) {
    stream.expires_never();
    tcp::socket socket = stream.release_socket();
    {
        beast::websocket::stream<tcp::socket&> handshake(socket);
        const auto [error] = co_await handshake.async_accept(message, kNoThrow);
        if (error) co_return; // Beast has told the client what was wrong with its handshake
    }
    beast::error_code ignored; // without them the stream is slower, not wrong
    socket.set_option(tcp::no_delay(true), ignored);
    socket.set_option(asio::socket_base::send_buffer_size(shared.settings.send_buffer_bytes), ignored);
    if (!shared.hosts.host_allowed(request.host) ||
        (!request.origin.empty() && !is_same_origin(request.origin, request.host))) {
        ++shared.counters.viewers_refused;
        co_await refuse_viewer(std::move(socket), CloseCode::forbidden, "Host or Origin not allowed");
        co_return;
    }
    if (shared.hub.is_full()) {
        ++shared.counters.viewers_refused;
        co_await refuse_viewer(std::move(socket), CloseCode::viewer_limit, "viewer limit reached");
        co_return;
    }
    const auto early = buffer.data();
    shared.hub.welcome(std::move(socket), shared.access.is_operator(request.cookie),
                       {static_cast<const std::byte*>(early.data()), early.size()});
}

} // namespace

awaitable<void> serve_connection(tcp::socket socket, std::shared_ptr<HttpShared> owner) {
    HttpShared& shared = *owner; // the frame may be destroyed after everything else, with the io_context
    const ScopedCount connection(shared.connections);
    beast::error_code failed;
    const auto remote = socket.remote_endpoint(failed);
    if (failed) co_return;
    const std::string remote_address = remote.address().to_string();
    beast::tcp_stream stream(std::move(socket));
    beast::flat_buffer buffer(kHeaderBytesMax + kBodyBytesMax);
    while (!shared.stopping) {
        Parser parser;
        parser.header_limit(kHeaderBytesMax);
        parser.body_limit(kBodyBytesMax);
        stream.expires_after(kRequestTime);
        const auto [error, size] = co_await http::async_read(stream, buffer, parser, kNoThrow);
        const ScopedCount answering(shared.answers_open);
        if (error) {
            if (const auto answer = unreadable(error)) {
                const Request unknown;
                co_await send(stream, shared, *answer, unknown, false);
                co_await hang_up(stream);
            }
            co_return;
        }
        const auto& message = parser.get();
        Request request = request_of(message);
        request.remote_address = remote_address;
        if (beast::websocket::is_upgrade(message) && message.target() == "/api/stream" &&
            message.count(http::field::host) == 1) {
            co_await become_viewer(stream, buffer, message, request, shared);
            co_return;
        }
        Answer answer;
        if (auto refused = refusal(message, request, shared)) {
            answer = std::move(*refused);
            request.host.clear(); // not known to be ours: it has no place in our header
        } else if (auto target = parse_target(message.target()); !target) {
            answer = error_answer(400, target.error().message);
        } else {
            request.target = std::move(*target);
            answer = co_await shared.api.answer(request);
        }
        if (!co_await send(stream, shared, answer, request, request.keep_alive && !shared.stopping)) {
            co_await hang_up(stream);
            co_return;
        }
    }
}

} // namespace turnstone
