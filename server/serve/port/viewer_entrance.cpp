#include "server/serve/port/viewer_entrance.hpp"

#include <chrono>
#include <string_view>
#include <utility>

#include <boost/asio/buffer.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/write.hpp>
#include <boost/beast/websocket/rfc6455.hpp>
#include <boost/beast/websocket/stream.hpp>

#include "server/serve/parse/header_fields.hpp"
#include "server/serve/parse/websocket_frame.hpp"
#include "server/serve/port/answer_sender.hpp"
#include "server/serve/port/no_throw.hpp"

namespace turnstone {
namespace {

namespace asio = boost::asio;
namespace beast = boost::beast;
using asio::awaitable;
using tcp = asio::ip::tcp;

awaitable<void> refuse_viewer(tcp::socket socket, CloseCode code, std::string_view reason) {
    beast::tcp_stream stream(std::move(socket));
    stream.expires_after(std::chrono::seconds(2));
    const WireMessage message = close_message(code, reason);
    const auto [error, sent] = co_await asio::async_write(stream, asio::buffer(*message), kNoThrow);
    if (!error) co_await hang_up(stream);
}

} // namespace

/// The handshake is Beast's; the frames afterwards are ours (websocket_frame.hpp).
awaitable<void> ViewerEntrance::admit(beast::tcp_stream& stream, beast::flat_buffer& buffer,
                                      const BeastRequest& request, const Client& client, bool allowed,
                                      const std::string& set_cookie) {
    if (!is_websocket_key(request["Sec-WebSocket-Key"])) {
        Answer told = error_answer(400, "Sec-WebSocket-Key must be 16 octets in base64 (RFC 6455 section 4.2.1)");
        const Request unknown;
        co_await sender_.send(stream, told, unknown, false);
        co_await hang_up(stream);
        co_return;
    }
    stream.expires_never();
    tcp::socket socket = stream.release_socket();
    {
        beast::websocket::stream<tcp::socket&> handshake(socket);
        if (!set_cookie.empty()) {
            const auto decorate = [&set_cookie](beast::websocket::response_type& response) {
                response.set(beast::http::field::set_cookie, set_cookie);
            };
            handshake.set_option(beast::websocket::stream_base::decorator(decorate));
        }
        const auto [error] = co_await handshake.async_accept(request, kNoThrow);
        if (error) co_return; // Beast has told the client what was wrong with its handshake
    }
    beast::error_code ignored; // without them the stream is slower, not wrong
    socket.set_option(tcp::no_delay(true), ignored);
    socket.set_option(asio::socket_base::send_buffer_size(send_buffer_bytes_), ignored);
    if (!allowed) {
        ++counters_.viewers_refused;
        co_await refuse_viewer(std::move(socket), CloseCode::forbidden, "Host or Origin not allowed");
        co_return;
    }
    auto place = budgets_.take(Budget::viewers, client);
    if (!place) {
        ++counters_.viewers_refused;
        co_await refuse_viewer(std::move(socket), CloseCode::viewer_limit, place.error().message);
        co_return;
    }
    const auto early = buffer.data();
    hub_.welcome(std::move(socket), client, std::move(*place),
                 {static_cast<const std::byte*>(early.data()), early.size()});
}

} // namespace turnstone
