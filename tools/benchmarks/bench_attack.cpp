// Hostile viewers against the real server process, one kind after the other, while a vehicle sends 92 packets a second,
// a watcher follows the stream and an honest visitor comes ten times a second. For each kind: what it costs the server,
// what the visitor and the watcher wait for, how late packets reach the recording, and what the attackers get. The rows
// without an attack are the limit. Attackers come from twenty addresses and share this machine's cores, at a lower
// priority. Prints a table in Markdown; tools/benchmarks/ATTACKS.md is one of a quiet machine.
#include <array>
#include <atomic>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <functional>
#include <map>
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
#include <boost/asio/redirect_error.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <boost/beast/http/write.hpp>

#include "server/record/read/catalogue.hpp"
#include "server/record/read/reader.hpp"
#include "tools/benchmarks/frames.hpp"
#include "tools/benchmarks/measure.hpp"
#include "tools/benchmarks/server_process.hpp"
#include "tools/benchmarks/visitors.hpp"

namespace {

using namespace turnstone;
using namespace turnstone::bench;
using namespace std::chrono_literals;
namespace http = beast::http;

constexpr auto kAttackLasts = 12s;
constexpr auto kVisitEvery = 100ms;
constexpr auto kPacketPeriod = 10'870us;
constexpr unsigned kAddresses = 20;

/// The vehicle sends until it is stopped and knows when each packet was sent.
class Sender {
  public:
    explicit Sender(const Terminal& terminal) : thread_([this, &terminal] { run(terminal); }) {}
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
    void run(const Terminal& terminal) {
        const Dictionary dictionary = demo_dictionary();
        FrameMaker maker(dictionary, 0);
        std::vector<std::byte> link;
        const auto start = Clock::now();
        for (std::uint32_t k = 0; !stopping_; ++k) {
            std::this_thread::sleep_until(start + k * kPacketPeriod);
            link.clear();
            maker.append(link, static_cast<std::uint32_t>(k * kPacketPeriod.count() / 1000), 0);
            sent_utc_ns_.push_back(utc_now_ns());
            terminal.write(link);
        }
    }
    std::atomic<bool> stopping_ = false;
    std::vector<std::int64_t> sent_utc_ns_;
    std::thread thread_;
};

/// What attackers of one kind were given.
struct Got {
    std::atomic<std::uint64_t> connections = 0; ///< that the server took
    std::atomic<std::uint64_t> served = 0;      ///< answers 101 and 200
    std::atomic<std::uint64_t> refused = 0;     ///< every other answer
    std::atomic<std::uint64_t> bytes = 0;
    void answer(unsigned status) { ++(status == 101 || status == 200 ? served : refused); }
};

/// Many attackers of one kind. Each is a coroutine that runs until the context stops; an error begins it again.
class Attack {
  public:
    using One = std::function<asio::awaitable<void>(tcp::socket& socket, unsigned number, Got& got)>;
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
    [[nodiscard]] const Got& got() const { return got_; }

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
                ++got_.connections;
                co_await one_(socket, number, got_);
            } catch (const std::exception&) { // refused or cut off, as it should be
            }
            timer.expires_after(5ms);
            co_await timer.async_wait(asio::use_awaitable);
        }
    }
    std::uint16_t port_;
    One one_;
    Got got_;
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

/// Of an answer's first line, "HTTP/1.1 200 OK".
unsigned status_of(const std::string& answer) {
    return answer.size() < 12 ? 0 : static_cast<unsigned>(std::atoi(answer.substr(9, 3).c_str()));
}

/// Reads and forgets all that comes, until the server closes; at most a piece each `pause`.
asio::awaitable<void> swallow(tcp::socket& socket, Got& got, std::size_t piece_bytes, Clock::duration pause) {
    std::string piece(piece_bytes, '\0');
    const auto buffer = asio::buffer(piece);
    for (bool first = true;; first = false) {
        const std::size_t size = co_await socket.async_read_some(buffer, asio::use_awaitable);
        if (first) got.answer(status_of(piece));
        got.bytes += size;
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
Attack::One loop_of(const std::string& request) {
    return [request](tcp::socket& socket, unsigned, Got& got) -> asio::awaitable<void> {
        for (;;) {
            co_await send(socket, request);
            beast::flat_buffer buffer;
            http::response_parser<http::string_body> parser;
            parser.body_limit(64u << 20);
            got.bytes += co_await http::async_read(socket, buffer, parser, asio::use_awaitable);
            got.answer(parser.get().result_int());
            if (parser.get().result() != http::status::ok) co_await wait(socket, 20ms);
        }
    };
}

/// One request; its answer is taken a piece each `pause`.
Attack::One slow_reader_of(const std::string& request, std::size_t piece_bytes, Clock::duration pause) {
    return [request, piece_bytes, pause](tcp::socket& socket, unsigned, Got& got) -> asio::awaitable<void> {
        co_await send(socket, request);
        co_await swallow(socket, got, piece_bytes, pause);
    };
}

struct Kind {
    const char* name;
    unsigned attackers;
    Attack::One one;
};

std::vector<Kind> kinds(std::uint16_t port, const std::string& recording) {
    const std::string series = get("/api/recordings/live/series?table=0&points=8192", port);
    const std::string guess = "POST /api/session HTTP/1.1\r\nHost: 127.0.0.1:" + std::to_string(port) +
                              "\r\nContent-Type: application/json\r\nContent-Length: 32\r\n\r\n"
                              R"({"key":"00000000000000000000-0"})";
    return {
        {"none", 0, {}},
        {"1000 viewers that read once a second", 1000, slow_reader_of(upgrade(port), 65536, 1s)},
        {"200 viewers that never read", 200,
         [port](tcp::socket& socket, unsigned, Got&) -> asio::awaitable<void> {
             const std::string request = upgrade(port);
             co_await send(socket, request);
             co_await wait(socket, 1h);
         }},
        {"700 requests, a byte a second", 700,
         [port](tcp::socket& socket, unsigned, Got&) -> asio::awaitable<void> {
             const std::string request = get("/", port);
             for (const char each : request) {
                 const std::string byte(1, each);
                 co_await send(socket, byte);
                 co_await wait(socket, 1s);
             }
         }},
        {"1200 connections that say nothing", 1200,
         [](tcp::socket& socket, unsigned, Got& got) -> asio::awaitable<void> {
             co_await swallow(socket, got, 4096, 0s);
         }},
        {"40 loops of series of 8192 points", 40, loop_of(series)},
        {"250 series that nobody reads", 250, slow_reader_of(series, 1, 1s)},
        {"40 loops of frames as hex", 40, loop_of(get("/api/recordings/live/frames?limit=500", port))},
        {"40 loops of the recordings' list", 40, loop_of(get("/api/recordings", port))},
        {"40 loops of downloads", 40, loop_of(get("/api/recordings/live/download", port))},
        {"40 downloads, 256 bytes a second", 40, slow_reader_of(get("/api/recordings/live/download", port), 256, 1s)},
        {"1100 replays at 100 times real time, seeking", 1100,
         [port, recording](tcp::socket& socket, unsigned number, Got& got) -> asio::awaitable<void> {
             const std::string begin = upgrade(port) +
                                       client_text(R"({"type":"open","recording":")" + recording + R"("})") +
                                       client_text(R"({"type":"play","rate":100})");
             co_await send(socket, begin);
             std::string piece(65536, '\0');
             const auto bytes = asio::buffer(piece);
             for (unsigned seek = 0;; ++seek) {
                 const std::string to =
                     client_text(R"({"type":"seek","t_s":)" + std::to_string((seek + number) % 20) + "}");
                 co_await send(socket, to);
                 for (int read = 0; read < 20; ++read) {
                     got.bytes += co_await socket.async_read_some(bytes, asio::use_awaitable);
                     if (seek == 0 && read == 0) got.answer(status_of(piece));
                 }
                 co_await wait(socket, 100ms);
             }
         }},
        {"50 loops of guesses at the key", 50, loop_of(guess)},
        {"50 loops of connect, rubbish, abort", 50,
         [](tcp::socket& socket, unsigned number, Got&) -> asio::awaitable<void> {
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

/// What one kind came to. Times in seconds.
struct Outcome {
    std::string name;
    std::int64_t from_utc_ns = 0, to_utc_ns = 0;
    double cpu = 0, memory_before_mb = 0, memory_after_mb = 0;
    std::vector<double> visits = {}, ages = {};
    std::string got = {};
};

std::string got_words(const Got& got) {
    std::array<char, 120> text{};
    std::snprintf(text.data(), text.size(), "%llu connections, %llu served, %llu refused, %.1f MB",
                  static_cast<unsigned long long>(got.connections), static_cast<unsigned long long>(got.served),
                  static_cast<unsigned long long>(got.refused), 1e-6 * static_cast<double>(got.bytes));
    return text.data();
}

Outcome suffer(const Kind& kind, const ServerProcess& server, Watcher& watcher) {
    Outcome outcome{.name = kind.name};
    outcome.memory_before_mb = server.resident_mb();
    const Attack attack(server.port(), kind.attackers, kind.one);
    std::this_thread::sleep_for(1s); // until all have come
    (void)watcher.take();
    outcome.from_utc_ns = utc_now_ns();
    const double cpu_s = server.cpu_s();
    const auto start = Clock::now();
    while (Clock::now() < start + kAttackLasts) {
        outcome.visits.push_back(honest_visit(server.port()));
        std::this_thread::sleep_for(kVisitEvery);
    }
    outcome.cpu = (server.cpu_s() - cpu_s) / seconds(Clock::now() - start);
    outcome.to_utc_ns = utc_now_ns();
    outcome.memory_after_mb = server.resident_mb();
    outcome.ages = watcher.take();
    outcome.got = kind.attackers == 0 ? "" : got_words(attack.got());
    return outcome;
}

/// When each packet was sent, and how much later it was received than the soonest one. Throws where one is missing.
std::map<std::int64_t, double> recorded(const std::filesystem::path& directory,
                                        const std::vector<std::int64_t>& sent_utc_ns) {
    const auto found = scan_recordings(directory);
    if (found.size() != 1) throw std::runtime_error("there should be one recording");
    auto reader = RecordingReader::open(found.front().path);
    if (!reader) throw std::runtime_error(reader.error().message);
    std::map<std::int64_t, double> delays_s;
    std::size_t bad = 0;
    double least_s = 1e300;
    std::int64_t after = 0;
    for (FramePage page = reader->frames(0, 500, {}); !page.frames.empty(); page = reader->frames(after, 500, {})) {
        for (const FrameRecord& frame : page.frames) {
            if (frame.packet_verdict != PacketVerdict::accepted) {
                ++bad;
            } else if (delays_s.size() < sent_utc_ns.size()) {
                const std::int64_t sent_ns = sent_utc_ns[delays_s.size()];
                const double delay_s = 1e-9 * static_cast<double>(frame.t_rx_ns - sent_ns);
                delays_s[sent_ns] = delay_s;
                least_s = std::min(least_s, delay_s);
            }
        }
        after = page.ids.back();
    }
    for (auto& [sent_ns, delay_s] : delays_s) delay_s -= least_s;
    std::printf("%zu of %zu packets sent are recorded; %zu bad frames. ", delays_s.size(), sent_utc_ns.size(), bad);
    return delays_s;
}

double ms(const std::vector<double>& values_s, double q) {
    return values_s.empty() ? std::nan("") : 1e3 * quantile(values_s, q);
}

void print_row(const Outcome& outcome, const std::map<std::int64_t, double>& delays_s) {
    std::vector<double> answered, received;
    for (const double visit : outcome.visits)
        if (visit >= 0) answered.push_back(visit);
    for (auto delay = delays_s.lower_bound(outcome.from_utc_ns);
         delay != delays_s.end() && delay->first < outcome.to_utc_ns; ++delay)
        received.push_back(delay->second);
    std::printf("| %s | %.0f | %.1f → %.1f | %.0f / %.0f / %.0f | %zu of %zu | %.0f / %.0f | %.2f / %.1f | %s |\n",
                outcome.name.c_str(), 100 * outcome.cpu, outcome.memory_before_mb, outcome.memory_after_mb,
                ms(answered, 0.5), ms(answered, 0.99), ms(answered, 1), outcome.visits.size() - answered.size(),
                outcome.visits.size(), ms(outcome.ages, 0.99), ms(outcome.ages, 1), ms(received, 0.99), ms(received, 1),
                outcome.got.c_str());
}

} // namespace

int main() {
    try {
        rlimit files{};
        ::getrlimit(RLIMIT_NOFILE, &files);
        files.rlim_cur = files.rlim_max;
        ::setrlimit(RLIMIT_NOFILE, &files);
        const Terminal terminal;
        ServerProcess server(terminal.path());
        Sender sender(terminal);
        std::this_thread::sleep_for(3s);
        const std::string recording = scan_recordings(server.recordings()).at(0).id;
        std::vector<Outcome> outcomes;
        {
            Watcher watcher(server.port());
            for (const Kind& kind : kinds(server.port(), recording)) {
                std::fprintf(stderr, "%s\n", kind.name);
                outcomes.push_back(suffer(kind, server, watcher));
            }
        }
        sender.stop();
        std::this_thread::sleep_for(500ms);
        server.stop();
        const auto delays_s = recorded(server.recordings(), sender.sent_utc_ns());
        std::printf("92 packets a second from one vehicle, one watcher, a visitor each 0.1 s who loads the page and a "
                    "series and joins the stream; each attack lasts %lld s. Times in ms; \"later\" is beyond the "
                    "soonest.\n\n",
                    static_cast<long long>(kAttackLasts.count()));
        std::printf("| attack | server CPU, %% | resident, MB | visitor p50 / p99 / worst | visits failed | "
                    "stream later p99 / worst | reception later p99 / worst | what the attackers got |\n"
                    "| --- | ---: | ---: | ---: | ---: | ---: | ---: | --- |\n");
        std::vector<double> all;
        for (const Outcome& outcome : outcomes) print_row(outcome, delays_s);
        for (const auto& [sent_ns, delay_s] : delays_s) all.push_back(delay_s);
        std::printf("\nReception over the whole run: p50 %.2f ms, p99 %.2f ms, worst %.1f ms later than the soonest.\n",
                    ms(all, 0.5), ms(all, 0.99), ms(all, 1));
        return 0;
    } catch (const std::exception& error) {
        std::fprintf(stderr, "bench_attack: %s\n", error.what());
        return 1;
    }
}
