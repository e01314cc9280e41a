#pragma once
/// Who comes to a server under test: a visitor who loads the page, a watcher of the stream.
#include <algorithm>
#include <chrono>
#include <cstdint>
#include <cstring>
#include <exception>
#include <mutex>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/write.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/http/read.hpp>
#include <boost/beast/http/string_body.hpp>
#include <boost/beast/websocket/stream.hpp>

namespace turnstone::bench {

namespace asio = boost::asio;
namespace beast = boost::beast;
using asio::ip::tcp;
using Clock = std::chrono::steady_clock;
using Stream = beast::websocket::stream<tcp::socket>;

inline double seconds(Clock::duration time) {
    return std::chrono::duration<double>(time).count();
}

inline std::int64_t utc_now_ns() {
    return std::chrono::duration_cast<std::chrono::nanoseconds>(std::chrono::system_clock::now().time_since_epoch())
        .count();
}

/// A connection from one address of this machine to the server.
inline tcp::socket connected(asio::io_context& context, std::uint16_t port, const std::string& from) {
    tcp::socket socket(context, tcp::v4());
    socket.set_option(tcp::acceptor::reuse_address(true));
    socket.bind({asio::ip::make_address_v4(from), 0});
    socket.connect({asio::ip::address_v4::loopback(), port});
    return socket;
}

/// One client that watches the stream: how old what it gets is, beyond the least age of the run.
class Watcher {
  public:
    explicit Watcher(std::uint16_t port) : stream_(connected(context_, port, "127.0.0.2")) {
        stream_.handshake("127.0.0.1:" + std::to_string(port), "/api/stream");
        read();
        thread_ = std::thread([this] { context_.run(); });
    }
    ~Watcher() {
        context_.stop();
        thread_.join();
    }
    Watcher(const Watcher&) = delete;
    Watcher& operator=(const Watcher&) = delete;
    /// Ages in seconds of the messages since the last call.
    std::vector<double> take() {
        const std::lock_guard lock(mutex_);
        std::vector<double> ages = std::exchange(ages_, {});
        for (double& age : ages) age -= least_;
        return ages;
    }

  private:
    void read() {
        stream_.async_read(
            buffer_,
            [this](beast::error_code error, std::size_t size) {
                if (error) return; // its age says so
                if (stream_.got_binary() && size >= 24) {
                    double newest_t_s = 0;
                    std::memcpy(&newest_t_s, static_cast<const char*>(buffer_.data().data()) + 16, sizeof newest_t_s);
                    const std::lock_guard lock(mutex_);
                    ages_.push_back(seconds(Clock::now().time_since_epoch()) - newest_t_s);
                    least_ = std::min(least_, ages_.back());
                }
                buffer_.consume(buffer_.size());
                read();
            });
    }
    asio::io_context context_;
    Stream stream_;
    beast::flat_buffer buffer_;
    std::mutex mutex_;
    std::vector<double> ages_;
    double least_ = 1e300;
    std::thread thread_;
};

inline std::string get(const std::string& target, std::uint16_t port, const std::string& more = "") {
    return "GET " + target + " HTTP/1.1\r\nHost: 127.0.0.1:" + std::to_string(port) + "\r\n" + more + "\r\n";
}

/// What a visitor asks for: the page, a series, the stream's hello. Seconds; negative: refused or cut off.
inline double honest_visit(std::uint16_t port) {
    const auto start = Clock::now();
    try {
        asio::io_context context;
        for (const char* target : {"/", "/api/recordings/live/series?table=0&points=500"}) {
            tcp::socket socket = connected(context, port, "127.0.0.3");
            asio::write(socket, asio::buffer(get(target, port)));
            beast::flat_buffer buffer;
            beast::http::response_parser<beast::http::string_body> parser;
            beast::http::read(socket, buffer, parser);
            if (parser.get().result() != beast::http::status::ok) return -1;
        }
        Stream stream(connected(context, port, "127.0.0.3"));
        stream.handshake("127.0.0.1:" + std::to_string(port), "/api/stream");
        beast::flat_buffer hello;
        stream.read(hello);
        return seconds(Clock::now() - start);
    } catch (const std::exception&) {
        return -1;
    }
}

} // namespace turnstone::bench
