#include "tests/serve/client.hpp"

#include <algorithm>
#include <stdexcept>

#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/read.hpp>
#include <boost/asio/write.hpp>
#include <boost/beast/core/buffers_to_string.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/http/read.hpp>
#include <boost/beast/http/string_body.hpp>
#include <boost/beast/http/write.hpp>
#include <boost/beast/websocket/stream.hpp>

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = beast::http;
using tcp = asio::ip::tcp;

namespace {

tcp::endpoint server_at(std::uint16_t port) {
    return {asio::ip::address_v4::loopback(), port};
}

void connect(tcp::socket& socket, std::uint16_t port, const std::string& from, int receive_buffer_bytes = 0) {
    socket.open(tcp::v4());
    if (receive_buffer_bytes > 0) // before connecting, so that the window is small from the start
        socket.set_option(asio::socket_base::receive_buffer_size(receive_buffer_bytes));
    if (!from.empty()) socket.bind({asio::ip::make_address(from), 0});
    socket.connect(server_at(port));
}

} // namespace

std::string HttpReply::field(const std::string& name) const {
    for (const auto& [key, value] : fields)
        if (beast::iequals(key, name)) return value;
    return {};
}

HttpReply http_request(std::uint16_t port, const std::string& method, const std::string& target, const Fields& fields,
                       const std::string& body, const std::string& from) {
    asio::io_context context;
    tcp::socket socket(context);
    connect(socket, port, from);
    http::request<http::string_body> request;
    request.version(11);
    request.method_string(method);
    request.target(target);
    request.set(http::field::host, "127.0.0.1:" + std::to_string(port));
    for (const auto& [name, value] : fields) request.set(name, value);
    request.body() = body;
    request.prepare_payload();
    http::write(socket, request);
    beast::flat_buffer buffer;
    http::response_parser<http::string_body> parser;
    parser.body_limit(64u << 20);
    parser.skip(method == "HEAD");
    http::read(socket, buffer, parser);
    HttpReply reply;
    reply.status = parser.get().result_int();
    for (const auto& field : parser.get()) reply.fields.emplace_back(field.name_string(), field.value());
    reply.body = parser.get().body();
    return reply;
}

std::string raw_exchange(std::uint16_t port, const std::string& bytes, std::chrono::milliseconds wait) {
    asio::io_context context;
    tcp::socket socket(context);
    socket.connect(server_at(port));
    boost::system::error_code ignored; // the server may hang up in the middle of what it refuses
    asio::write(socket, asio::buffer(bytes), ignored);
    std::string out;
    asio::async_read(socket, asio::dynamic_buffer(out), [](const boost::system::error_code&, std::size_t) {});
    context.run_for(wait);
    socket.close(ignored);
    context.restart();
    context.run();
    return out;
}

struct StreamClient::State {
    asio::io_context context;
    beast::websocket::stream<tcp::socket> stream{context};
    beast::flat_buffer buffer;
    bool reading = false;
    bool done = false;
    beast::error_code result;
};

RawClient::RawClient(std::uint16_t port, const std::string& from, int receive_buffer_bytes) {
    asio::io_context context;
    tcp::socket socket(context);
    connect(socket, port, from, receive_buffer_bytes);
    socket_ = socket.release();
}

RawClient::~RawClient() {
    if (socket_ >= 0) ::close(socket_);
}

void RawClient::send(const std::string& bytes) const {
    if (::send(socket_, bytes.data(), bytes.size(), MSG_NOSIGNAL) != static_cast<ssize_t>(bytes.size()))
        throw std::runtime_error("the server took not all bytes");
}

std::string RawClient::read(std::size_t bytes, std::chrono::milliseconds wait) const {
    const auto until = std::chrono::steady_clock::now() + wait;
    std::string out;
    while (out.size() < bytes) {
        const auto left =
            std::chrono::duration_cast<std::chrono::milliseconds>(until - std::chrono::steady_clock::now());
        pollfd readable{.fd = socket_, .events = POLLIN, .revents = 0};
        if (::poll(&readable, 1, static_cast<int>(std::max(left, std::chrono::milliseconds(0)).count())) != 1) break;
        std::string piece(bytes - out.size(), '\0');
        const ssize_t count = ::recv(socket_, piece.data(), piece.size(), 0);
        if (count <= 0) break;
        out.append(piece, 0, static_cast<std::size_t>(count));
    }
    return out;
}

StreamClient::StreamClient(std::uint16_t port, const Fields& fields, int receive_buffer_bytes, const std::string& from)
    : state_(std::make_unique<State>()) {
    connect(state_->stream.next_layer(), port, from, receive_buffer_bytes);
    std::string host = "127.0.0.1:" + std::to_string(port);
    for (const auto& [name, value] : fields)
        if (beast::iequals(name, "Host")) host = value;
    state_->stream.set_option(beast::websocket::stream_base::decorator([&](beast::websocket::request_type& request) {
        for (const auto& [name, value] : fields) request.set(name, value);
    }));
    state_->stream.read_message_max(64u << 20);
    state_->stream.handshake(host, "/api/stream");
}

StreamClient::~StreamClient() {
    boost::system::error_code ignored;
    state_->stream.next_layer().close(ignored);
    state_->context.restart();
    state_->context.run_for(std::chrono::milliseconds(100));
}

std::string StreamClient::Message::type() const {
    return binary ? "binary" : json().at("type").get<std::string>();
}

std::optional<StreamClient::Message> StreamClient::next(std::chrono::milliseconds wait) {
    State& s = *state_;
    if (!s.reading) {
        s.reading = true;
        s.done = false;
        s.stream.async_read(s.buffer, [&s](const beast::error_code& error, std::size_t) {
            s.result = error;
            s.done = true;
        });
    }
    const auto until = std::chrono::steady_clock::now() + wait;
    s.context.restart();
    while (!s.done && std::chrono::steady_clock::now() < until) s.context.run_one_until(until);
    if (!s.done) return std::nullopt;
    s.reading = false;
    if (s.result) return std::nullopt;
    Message message{s.stream.got_binary(), beast::buffers_to_string(s.buffer.data())};
    s.buffer.clear();
    return message;
}

std::optional<StreamClient::Message> StreamClient::next_of(const std::string& type, std::chrono::milliseconds wait) {
    const auto until = std::chrono::steady_clock::now() + wait;
    while (true) {
        const auto left =
            std::chrono::duration_cast<std::chrono::milliseconds>(until - std::chrono::steady_clock::now());
        auto message = next(std::max(left, std::chrono::milliseconds(0)));
        if (!message || message->type() == type) return message;
    }
}

void StreamClient::send(const std::string& text) {
    boost::system::error_code ignored; // the server may have closed already: the test looks at the close code
    state_->stream.text(true);
    state_->stream.write(asio::buffer(text), ignored);
}

std::uint16_t StreamClient::close_code() const {
    return static_cast<std::uint16_t>(state_->stream.reason().code);
}

std::string StreamClient::close_reason() const {
    const auto& reason = state_->stream.reason().reason;
    return {reason.begin(), reason.end()};
}
