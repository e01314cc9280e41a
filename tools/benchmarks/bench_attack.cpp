// Hostile viewers against the real server process, one kind after the other, while a vehicle sends 92 packets a second
// and an honest visitor comes every half second. What each costs the server, what the visitor waits for, how old the
// stream is that a watcher gets; at the end, whether every packet was recorded, and when. The rows without an attack
// are the limit. Attackers come from twenty addresses and share this machine's cores, at a lower priority.
#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstring>
#include <functional>
#include <mutex>
#include <stdexcept>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include <sys/resource.h>
#include <sys/syscall.h>
#include <unistd.h>

#include <boost/asio/awaitable.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/redirect_error.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <boost/asio/write.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/http/read.hpp>
#include <boost/beast/http/string_body.hpp>
#include <boost/beast/http/write.hpp>
#include <boost/beast/websocket/stream.hpp>

#include "server/record/read/catalogue.hpp"
#include "server/record/read/reader.hpp"
#include "tools/benchmarks/frames.hpp"
#include "tools/benchmarks/measure.hpp"
#include "tools/benchmarks/server_process.hpp"

namespace {

using namespace turnstone;
using namespace std::chrono_literals;
namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = beast::http;
namespace websocket = beast::websocket;
using asio::ip::tcp;
using Clock = std::chrono::steady_clock;
using Stream = websocket::stream<tcp::socket>;

constexpr auto kAttackLasts = 12s;
constexpr auto kPacketPeriod = 10'870us;
constexpr unsigned kAddresses = 20;

double seconds(Clock::duration time) {
    return std::chrono::duration<double>(time).count();
}

/// The vehicle sends until it is stopped and knows when each packet was sent.
class Sender {
  public:
    explicit Sender(const bench::Terminal& terminal) : thread_([this, &terminal] { run(terminal); }) {}
    ~Sender() { stop(); }
    Sender(const Sender&) = delete;
    Sender& operator=(const Sender&) = delete;
    void stop() {
        stopping_ = true;
        if (thread_.joinable()) thread_.join();
    }
    /// After stop(): system UTC at which each packet was sent.
    [[nodiscard]] const std::vector<std::int64_t>& sent_utc_ns() const { return sent_utc_ns_; }

  private:
    void run(const bench::Terminal& terminal) {
        const Dictionary dictionary = bench::demo_dictionary();
        bench::FrameMaker maker(dictionary, 0);
        std::vector<std::byte> link;
        const auto start = Clock::now();
        for (std::uint32_t k = 0; !stopping_; ++k) {
            std::this_thread::sleep_until(start + k * kPacketPeriod);
            link.clear();
            maker.append(link, static_cast<std::uint32_t>(k * kPacketPeriod.count() / 1000), 0);
            sent_utc_ns_.push_back(std::chrono::duration_cast<std::chrono::nanoseconds>(
                                       std::chrono::system_clock::now().time_since_epoch())
                                       .count());
            terminal.write(link);
        }
    }
    std::atomic<bool> stopping_ = false;
    std::vector<std::int64_t> sent_utc_ns_;
    std::thread thread_;
};

/// A connection from one address of this machine to the server.
tcp::socket connected(asio::io_context& context, std::uint16_t port, const std::string& from) {
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

std::string get(const std::string& target, std::uint16_t port, const std::string& more = "") {
    return "GET " + target + " HTTP/1.1\r\nHost: 127.0.0.1:" + std::to_string(port) + "\r\n" + more + "\r\n";
}

/// What a visitor asks for: the page, a series, the stream's hello. Seconds; negative: refused or cut off.
double honest_visit(std::uint16_t port) {
    const auto start = Clock::now();
    try {
        asio::io_context context;
        for (const char* target : {"/", "/api/recordings/live/series?table=0&points=500"}) {
            tcp::socket socket = connected(context, port, "127.0.0.3");
            asio::write(socket, asio::buffer(get(target, port)));
            beast::flat_buffer buffer;
            http::response_parser<http::string_body> parser;
            http::read(socket, buffer, parser);
            if (parser.get().result() != http::status::ok) return -1;
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

/// Many attackers of one kind. Each is a coroutine that runs until the context stops; an error begins it again.
class Attack {
  public:
    using One = std::function<asio::awaitable<void>(tcp::socket& socket, unsigned number)>;
    Attack(std::uint16_t port, unsigned count, One one) : port_(port), one_(std::move(one)) {
        for (unsigned number = 0; number < count; ++number)
            asio::co_spawn(context_, again_and_again(number), asio::detached);
        if (count == 0) return;
        thread_ = std::thread([this] {
            ::setpriority(PRIO_PROCESS, static_cast<id_t>(::syscall(SYS_gettid)), 10);
            context_.run();
        });
    }
    ~Attack() {
        context_.stop();
        if (thread_.joinable()) thread_.join();
    }
    Attack(const Attack&) = delete;
    Attack& operator=(const Attack&) = delete;

  private:
    asio::awaitable<void> again_and_again(unsigned number) {
        asio::steady_timer timer(context_);
        const std::string from = "127.0.1." + std::to_string(1 + number % kAddresses);
        for (;;) {
            try {
                tcp::socket socket(context_, tcp::v4());
                socket.set_option(tcp::acceptor::reuse_address(true));
                socket.bind({asio::ip::make_address_v4(from), 0});
                const tcp::endpoint server(asio::ip::address_v4::loopback(), port_);
                co_await socket.async_connect(server, asio::use_awaitable);
                co_await one_(socket, number);
            } catch (const std::exception&) { // refused or cut off, as it should be
            }
            timer.expires_after(5ms);
            co_await timer.async_wait(asio::use_awaitable);
        }
    }
    std::uint16_t port_;
    One one_;
    asio::io_context context_;
    std::thread thread_;
};

/// `text` outlives the call.
asio::awaitable<void> send(tcp::socket& socket, const std::string& text) {
    const auto bytes = asio::buffer(text);
    co_await asio::async_write(socket, bytes, asio::use_awaitable);
}

asio::awaitable<void> wait(tcp::socket& socket, Clock::duration time) {
    asio::steady_timer timer(socket.get_executor(), time);
    co_await timer.async_wait(asio::use_awaitable);
}

/// Reads and forgets all that comes, until the server closes; at most a piece each `pause`.
asio::awaitable<void> swallow(tcp::socket& socket, Clock::duration pause = {}) {
    std::vector<char> piece(65536);
    const auto bytes = asio::buffer(piece);
    for (;;) {
        co_await socket.async_read_some(bytes, asio::use_awaitable);
        if (pause.count() > 0) co_await wait(socket, pause);
    }
}

std::string upgrade(std::uint16_t port) {
    return get("/api/stream", port,
               "Upgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n"
               "Sec-WebSocket-Version: 13\r\n");
}

/// A masked text message (RFC 6455 section 5.2) with a mask of zeros; `text` below 126 bytes.
std::string client_text(const std::string& text) {
    return std::string("\x81") + static_cast<char>(0x80U | text.size()) + std::string(4, '\0') + text;
}

/// The same requests on one connection, one after the other, as fast as they are answered.
Attack::One loop_of(std::string request) {
    return [request](tcp::socket& socket, unsigned) -> asio::awaitable<void> {
        for (;;) {
            co_await send(socket, request);
            beast::flat_buffer buffer;
            http::response_parser<http::string_body> parser;
            parser.body_limit(64u << 20);
            co_await http::async_read(socket, buffer, parser, asio::use_awaitable);
            if (parser.get().result() != http::status::ok) co_await wait(socket, 20ms);
        }
    };
}

struct Kind {
    const char* name;
    unsigned attackers;
    Attack::One one;
};

std::vector<Kind> kinds(std::uint16_t port, const std::string& recording) {
    return {
        {"none", 0, {}},
        {"1000 viewers that read once a second", 1000,
         [port](tcp::socket& socket, unsigned) -> asio::awaitable<void> {
             const std::string request = upgrade(port);
             co_await send(socket, request);
             co_await swallow(socket, 1s);
         }},
        {"200 viewers that never read", 200,
         [port](tcp::socket& socket, unsigned) -> asio::awaitable<void> {
             const std::string request = upgrade(port);
             co_await send(socket, request);
             co_await wait(socket, 1h);
         }},
        {"700 requests, a byte a second", 700,
         [port](tcp::socket& socket, unsigned) -> asio::awaitable<void> {
             const std::string request = get("/", port);
             for (const char each : request) {
                 const std::string byte(1, each);
                 co_await send(socket, byte);
                 co_await wait(socket, 1s);
             }
         }},
        {"40 loops of series of 8192 points", 40,
         loop_of(get("/api/recordings/live/series?table=0&points=8192", port))},
        {"40 loops of the recordings' list", 40, loop_of(get("/api/recordings", port))},
        {"40 loops of downloads", 40, loop_of(get("/api/recordings/live/download", port))},
        {"300 replays at 100 times real time, seeking", 300,
         [port, recording](tcp::socket& socket, unsigned number) -> asio::awaitable<void> {
             const std::string begin = upgrade(port) +
                                       client_text(R"({"type":"open","recording":")" + recording + R"("})") +
                                       client_text(R"({"type":"play","rate":100})");
             co_await send(socket, begin);
             std::vector<char> piece(65536);
             const auto bytes = asio::buffer(piece);
             for (unsigned seek = 0;; ++seek) {
                 const std::string to =
                     client_text(R"({"type":"seek","t_s":)" + std::to_string((seek + number) % 20) + "}");
                 co_await send(socket, to);
                 for (int read = 0; read < 20; ++read) co_await socket.async_read_some(bytes, asio::use_awaitable);
                 co_await wait(socket, 100ms);
             }
         }},
        {"50 loops of connect, rubbish, abort", 50,
         [](tcp::socket& socket, unsigned number) -> asio::awaitable<void> {
             std::string rubbish(200, '\0');
             for (std::size_t i = 0; i < rubbish.size(); ++i)
                 rubbish[i] = static_cast<char>(number * 7919 + i * i * 31);
             co_await send(socket, rubbish);
             socket.set_option(asio::socket_base::linger(true, 0));
             socket.close();
         }},
        {"none again", 0, {}},
    };
}

void print_row(const char* name, double cpu, double resident_mb, const std::vector<double>& visits,
               const std::vector<double>& ages) {
    std::vector<double> answered;
    for (const double visit : visits)
        if (visit >= 0) answered.push_back(visit);
    const auto ms = [](const std::vector<double>& values, double q) {
        return values.empty() ? std::nan("") : 1e3 * bench::quantile(values, q);
    };
    std::printf("%-44s %6.0f %8.1f %9.0f %7.0f %8zu/%-3zu %9.0f %7.0f\n", name, 100 * cpu, resident_mb,
                ms(answered, 0.5), ms(answered, 1), visits.size() - answered.size(), visits.size(), ms(ages, 0.99),
                ms(ages, 1));
    std::fflush(stdout);
}

/// Whether every packet is in the recording, and how long after it was sent, beyond the least.
void print_recorded(const std::filesystem::path& directory, const std::vector<std::int64_t>& sent_utc_ns) {
    const auto found = scan_recordings(directory);
    if (found.size() != 1) throw std::runtime_error("there should be one recording");
    auto reader = RecordingReader::open(found.front().path);
    if (!reader) throw std::runtime_error(reader.error().message);
    std::vector<double> delays_s;
    std::uint64_t bad = 0;
    std::int64_t after = 0;
    for (FramePage page = reader->frames(0, 500, {}); !page.frames.empty(); page = reader->frames(after, 500, {})) {
        for (const FrameRecord& frame : page.frames)
            if (frame.packet_verdict != PacketVerdict::accepted)
                ++bad;
            else if (delays_s.size() < sent_utc_ns.size())
                delays_s.push_back(1e-9 * static_cast<double>(frame.t_rx_ns - sent_utc_ns[delays_s.size()]));
        after = page.ids.back();
    }
    const double least_s = delays_s.empty() ? 0 : bench::quantile(delays_s, 0);
    for (double& delay_s : delays_s) delay_s -= least_s;
    std::printf("recorded: %zu of %zu packets sent, %llu bad frames; received later than the soonest by p50 %.2f ms, "
                "p99 %.2f ms, worst %.1f ms\n",
                delays_s.size(), sent_utc_ns.size(), static_cast<unsigned long long>(bad),
                1e3 * bench::quantile(delays_s, 0.5), 1e3 * bench::quantile(delays_s, 0.99),
                1e3 * bench::quantile(delays_s, 1));
}

} // namespace

int main() {
    try {
        rlimit files{};
        ::getrlimit(RLIMIT_NOFILE, &files);
        files.rlim_cur = files.rlim_max;
        ::setrlimit(RLIMIT_NOFILE, &files);
        const bench::Terminal terminal;
        bench::ServerProcess server(terminal.path());
        Sender sender(terminal);
        std::this_thread::sleep_for(3s);
        const std::string recording = scan_recordings(server.recordings()).at(0).id;
        {
            Watcher watcher(server.port());
            std::printf("%-44s %6s %8s %17s %12s %17s\n", "", "server", "resident", "visitor, ms", "refused",
                        "stream, ms");
            std::printf("%-44s %6s %8s %9s %7s %12s %9s %7s\n", "attack", "CPU, %", "MB", "p50", "worst", "", "p99",
                        "worst");
            for (const Kind& kind : kinds(server.port(), recording)) {
                const Attack attack(server.port(), kind.attackers, kind.one);
                std::this_thread::sleep_for(1s); // until all have come
                (void)watcher.take();
                const double cpu_s = server.cpu_s();
                std::vector<double> visits;
                const auto start = Clock::now();
                while (Clock::now() < start + kAttackLasts) {
                    visits.push_back(honest_visit(server.port()));
                    std::this_thread::sleep_for(500ms);
                }
                print_row(kind.name, (server.cpu_s() - cpu_s) / seconds(Clock::now() - start), server.resident_mb(),
                          visits, watcher.take());
            }
        }
        sender.stop();
        std::this_thread::sleep_for(500ms);
        server.stop();
        print_recorded(server.recordings(), sender.sent_utc_ns());
        return 0;
    } catch (const std::exception& error) {
        std::fprintf(stderr, "bench_attack: %s\n", error.what());
        return 1;
    }
}
