#include "tests/serve/client.hpp"

#include <stdexcept>

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

} // namespace

std::string HttpReply::field(const std::string& name) const {
    for (const auto& [key, value] : fields)
        if (beast::iequals(key, name)) return value;
    return {};
}

HttpReply http_request(std::uint16_t port, const std::string& method, const std::string& target, const Fields& fields,
                       const std::string& body) {
    asio::io_context context;
    tcp::socket socket(context);
    socket.connect(server_at(port));
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

StreamClient::StreamClient(std::uint16_t port, const Fields& fields, int receive_buffer_bytes)
    : state_(std::make_unique<State>()) {
    tcp::socket& socket = state_->stream.next_layer();
    socket.open(tcp::v4());
    if (receive_buffer_bytes > 0) // before connecting, so that the window is small from the start
        socket.set_option(asio::socket_base::receive_buffer_size(receive_buffer_bytes));
    socket.connect(server_at(port));
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
