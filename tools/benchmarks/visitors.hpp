#pragma once
/// Who comes to a server under test: a visitor who loads the page, a watcher of the stream, one who waits for packets.
#include <algorithm>
#include <array>
#include <atomic>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <cstring>
#include <exception>
#include <functional>
#include <memory>
#include <mutex>
#include <stdexcept>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/write.hpp>
#include <boost/beast/core/buffers_to_string.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/http/read.hpp>
#include <boost/beast/http/string_body.hpp>
#include <boost/beast/websocket/stream.hpp>
#include <nlohmann/json.hpp>

#include "tools/benchmarks/frames.hpp"
#include "tools/benchmarks/server_process.hpp"

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

/// A client of the server, or of a relay, that waits for nothing but its messages.
inline std::unique_ptr<Stream> connect(asio::io_context& context, std::uint16_t port, const std::string& target) {
    auto stream = std::make_unique<Stream>(context);
    stream->next_layer().connect({asio::ip::address_v4::loopback(), port});
    stream->next_layer().set_option(tcp::no_delay(true));
    stream->handshake("127.0.0.1:" + std::to_string(port), target);
    return stream;
}

constexpr int kMarks = 500;
/// The mark as the dictionary calibrates it: 0.01 K a count above 273.15 K.
inline int mark_of(double imu_temperature_k) {
    return static_cast<int>(std::lround((imu_temperature_k - 273.15) * 100));
}

/// Sends a marked packet each `period`; `receive` blocks until it has a mark. Returns latencies in milliseconds.
inline std::vector<double> latencies_ms(const Terminal& terminal, std::chrono::milliseconds period,
                                        const std::function<int()>& receive) {
    const Dictionary dictionary = demo_dictionary();
    std::array<std::atomic<std::int64_t>, kMarks> sent_ns{};
    std::thread sender([&] {
        FrameMaker maker(dictionary, 0);
        std::vector<std::byte> link;
        auto next = Clock::now() + std::chrono::milliseconds(200);
        for (int mark = 0; mark < kMarks; ++mark) {
            std::this_thread::sleep_until(next);
            next += period;
            link.clear();
            maker.append(link, static_cast<std::uint32_t>(mark * period.count()), static_cast<std::uint16_t>(mark));
            sent_ns[static_cast<std::size_t>(mark)] = Clock::now().time_since_epoch().count();
            terminal.write(link);
        }
    });
    std::vector<double> result;
    int seen = -1;
    while (seen < kMarks - 1) {
        const int mark = receive();
        const auto now_ns = Clock::now().time_since_epoch().count();
        for (int k = seen + 1; k <= mark && k < kMarks; ++k)
            result.push_back(static_cast<double>(now_ns - sent_ns[static_cast<std::size_t>(k)]) * 1e-6);
        seen = std::max(seen, mark);
    }
    sender.join();
    return result;
}

template <class T>
T at(const beast::flat_buffer& buffer, std::size_t offset) {
    T value;
    std::memcpy(&value, static_cast<const char*>(buffer.data().data()) + offset, sizeof value);
    return value;
}

/// Reads imu_temperature, the first column of its table, from block messages (protocol/STREAM.md, section 2).
class MarkReader {
  public:
    explicit MarkReader(Stream& stream) : stream_(stream) {
        while (table_ < 0) {
            beast::flat_buffer buffer;
            stream_.read(buffer);
            if (stream_.got_binary()) continue;
            const auto hello = nlohmann::json::parse(beast::buffers_to_string(buffer.data()));
            if (hello.at("type") != "hello") continue;
            for (const auto& table : hello.at("description").at("tables"))
                if (table.at("columns").at(0).at("name") == "imu_temperature") table_ = table.at("id").get<int>();
            if (table_ < 0) throw std::runtime_error("no table of the tape begins with imu_temperature");
        }
    }
    int next() {
        for (;;) {
            beast::flat_buffer buffer;
            stream_.read(buffer);
            if (!stream_.got_binary() || buffer.size() < 24) continue;
            const auto blocks = at<std::uint32_t>(buffer, 4);
            std::size_t offset = 24;
            for (std::uint32_t block = 0; block < blocks; ++block) {
                const auto table = at<std::uint16_t>(buffer, offset);
                const auto columns = at<std::uint16_t>(buffer, offset + 2);
                const auto rows = at<std::uint32_t>(buffer, offset + 4);
                if (table == table_ && rows > 0)
                    return mark_of(at<double>(buffer, offset + 8 + 8 * rows + 8 * (rows - 1)));
                offset += 8 + 8 * rows + 8 * static_cast<std::size_t>(rows) * columns;
            }
        }
    }

  private:
    Stream& stream_;
    int table_ = -1;
};

} // namespace turnstone::bench
