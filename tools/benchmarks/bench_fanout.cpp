// One tick's message to many viewers: the server's stream beside a bare Beast broadcast of the same bytes, in one
// process, on loopback, turn by turn. Closed loop: a few messages are under way, and the next goes out when all clients
// have the oldest, so that neither side wins by dropping. Then 50 messages a second for the latency, and how long
// publish() holds up ingest.
#include <array>
#include <atomic>
#include <bit>
#include <cstdio>
#include <cstring>
#include <deque>
#include <memory>
#include <stdexcept>
#include <string>
#include <thread>
#include <vector>

#include <netinet/in.h>
#include <sys/epoll.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <unistd.h>

#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/post.hpp>
#include <boost/beast/websocket/stream.hpp>

#include "server/serve/port/server.hpp"
#include "tools/benchmarks/measure.hpp"
#include "tools/benchmarks/tables.hpp"

namespace {

using namespace turnstone;
namespace asio = boost::asio;
namespace websocket = boost::beast::websocket;
using tcp = asio::ip::tcp;
using Clock = std::chrono::steady_clock;

constexpr std::size_t kColumns = 20;
constexpr std::size_t kPayload = 24 + 8 + 8 * (1 + kColumns); // one row: 200 bytes
constexpr std::size_t kUnderWay = 8;

double seconds_now() {
    return std::chrono::duration<double>(Clock::now().time_since_epoch()).count();
}

/// Sockets that only read: enough of RFC 6455 to find the binary messages and the time of sending inside them.
class Clients {
  public:
    Clients(std::uint16_t port, std::size_t count) : epoll_(epoll_create1(0)), clients_(count) {
        for (std::size_t i = 0; i < count; ++i) {
            clients_[i].socket = connect_to(port);
            epoll_event event{.events = EPOLLIN, .data = {.u64 = i}};
            epoll_ctl(epoll_, EPOLL_CTL_ADD, clients_[i].socket, &event);
        }
    }
    ~Clients() {
        for (const Client& client : clients_) ::close(client.socket);
        ::close(epoll_);
    }
    Clients(const Clients&) = delete;
    Clients& operator=(const Clients&) = delete;

    /// Binary messages that every client has.
    [[nodiscard]] std::size_t everywhere() const { return complete_; }
    void forget_delays() { delays_s.clear(); }

    void read(int wait_ms) {
        std::array<epoll_event, 256> events;
        const int ready = epoll_wait(epoll_, events.data(), static_cast<int>(events.size()), wait_ms);
        for (int i = 0; i < ready; ++i) take(clients_[events[static_cast<std::size_t>(i)].data.u64]);
    }

    std::vector<double> delays_s;

  private:
    struct Client {
        int socket = -1;
        std::string bytes;
        std::size_t messages = 0;
    };

    static int connect_to(std::uint16_t port) {
        const int socket = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
        sockaddr_in address{};
        address.sin_family = AF_INET;
        address.sin_port = htons(port);
        address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
        if (::connect(socket, reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0)
            throw std::runtime_error("cannot connect to the server under test");
        const std::string request =
            "GET /api/stream HTTP/1.1\r\nHost: 127.0.0.1\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
            "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n\r\n";
        if (::send(socket, request.data(), request.size(), 0) != static_cast<ssize_t>(request.size()))
            throw std::runtime_error("cannot ask for the stream");
        std::string answer;
        for (char c = 0; answer.find("\r\n\r\n") == std::string::npos; answer.push_back(c))
            if (::recv(socket, &c, 1, 0) != 1) throw std::runtime_error("no WebSocket was opened: " + answer);
        return socket;
    }

    void take(Client& client) {
        std::array<char, 16384> piece;
        const ssize_t count = ::recv(client.socket, piece.data(), piece.size(), MSG_DONTWAIT);
        if (count == 0) throw std::runtime_error("the server closed a client");
        if (count < 0) return;
        client.bytes.append(piece.data(), static_cast<std::size_t>(count));
        const double now_s = seconds_now();
        std::size_t at = 0;
        while (client.bytes.size() - at >= 2) {
            const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(client.bytes[at + i]); };
            std::size_t header = 2;
            std::size_t size = byte(1);
            if (size == 126) {
                header = 4;
                if (client.bytes.size() - at < header) break;
                size = (std::size_t{byte(2)} << 8) | byte(3);
            } else if (size == 127) {
                throw std::runtime_error("a message is longer than any that was sent");
            }
            if (client.bytes.size() - at < header + size) break;
            if ((byte(0) & 15) == 2) {
                double value = 0; // the first column carries the time of sending
                std::memcpy(&value, client.bytes.data() + at + header + 24 + 8 + 8, sizeof value);
                delays_s.push_back(now_s - value);
                count_one(++client.messages);
            }
            if ((byte(0) & 15) == 9) {
                // The server drops silent clients: send an empty masked pong (RFC 6455 section 5.5.3).
                constexpr std::array<unsigned char, 6> pong{0x8a, 0x80, 0, 0, 0, 0};
                if (::send(client.socket, pong.data(), pong.size(), MSG_NOSIGNAL) != static_cast<ssize_t>(pong.size()))
                    throw std::runtime_error("a client could not answer a ping");
            }
            at += header + size;
        }
        client.bytes.erase(0, at);
    }

    void count_one(std::size_t message) {
        if (have_.size() < message) have_.resize(message, 0);
        ++have_[message - 1];
        while (complete_ < have_.size() && have_[complete_] == clients_.size()) ++complete_;
    }

    int epoll_;
    std::vector<Client> clients_;
    std::vector<std::size_t> have_; ///< clients that have message k
    std::size_t complete_ = 0;
};

/// What a plain broadcast does: one shared message, a queue and one write at a time per session.
class BareBeast {
  public:
    BareBeast() : acceptor_(context_, tcp::endpoint(asio::ip::address_v4::loopback(), 0)) {
        accept();
        thread_ = std::thread([this] { context_.run(); });
    }
    ~BareBeast() {
        context_.stop();
        thread_.join();
    }
    BareBeast(const BareBeast&) = delete;
    BareBeast& operator=(const BareBeast&) = delete;
    [[nodiscard]] std::uint16_t port() const { return acceptor_.local_endpoint().port(); }

    void publish(double value) {
        auto message = std::make_shared<std::string>(kPayload, '\0');
        std::memcpy(message->data() + 24 + 8 + 8, &value, sizeof value);
        asio::post(context_, [this, shared = std::shared_ptr<const std::string>(std::move(message))] {
            for (const auto& session : sessions_) session->send(shared);
        });
    }

  private:
    struct Session : std::enable_shared_from_this<Session> {
        explicit Session(tcp::socket socket) : stream(std::move(socket)) {}
        void send(std::shared_ptr<const std::string> message) {
            queue.push_back(std::move(message));
            if (queue.size() == 1) write();
        }
        void write() {
            stream.async_write(
                asio::buffer(*queue.front()),
                [self = shared_from_this()](const auto& error, std::size_t) {
                    if (error) return;
                    self->queue.pop_front();
                    if (!self->queue.empty()) self->write();
                });
        }
        websocket::stream<tcp::socket> stream;
        std::deque<std::shared_ptr<const std::string>> queue;
    };

    void accept() {
        acceptor_.async_accept([this](const auto& error, tcp::socket socket) {
            if (error) return;
            socket.set_option(tcp::no_delay(true));
            auto session = std::make_shared<Session>(std::move(socket));
            session->stream.binary(true);
            session->stream.async_accept([this, session](const auto& failed) {
                if (!failed) sessions_.push_back(session);
            });
            accept();
        });
    }

    asio::io_context context_{1};
    tcp::acceptor acceptor_;
    std::vector<std::shared_ptr<Session>> sessions_;
    std::thread thread_;
};

class Ours {
  public:
    Ours() {
        const ServeSettings settings{.listen_address = "127.0.0.1",
                                     .port = 0,
                                     .tls = {},
                                     .host_names = {},
                                     .recordings = std::filesystem::temp_directory_path(),
                                     .operator_key = random_key(),
                                     .assets = {},
                                     .viewers_max = 1000};
        ServeSources sources{.station_now_ns = [] { return bench::kStart_ns; },
                             .links = [] { return std::vector<LinkView>{}; },
                             .recorder = [] { return RecorderStatus{}; }};
        server_ = std::make_unique<Server>(settings, sources, OperatorActions{});
        if (const auto started = server_->start(); !started) throw std::runtime_error(started.error().message);
        server_->begin_recording({.id = "bench",
                                  .name = "",
                                  .t_start_ns = bench::kStart_ns,
                                  .utc_start_ns = bench::kStart_ns,
                                  .schema = schema_,
                                  .setup = std::make_shared<PipelineSetup>()});
    }
    [[nodiscard]] std::uint16_t port() const { return server_->port(); }
    void publish(double value) {
        auto batch = std::make_shared<Batch>();
        const std::vector<double> row(kColumns, value);
        batch->add_row(schema_->tables.front(), bench::kStart_ns, bench::kStart_ns, row);
        const auto before = Clock::now();
        server_->publish(std::move(batch));
        publish_s.push_back(std::chrono::duration<double>(Clock::now() - before).count());
    }
    std::vector<double> publish_s;

  private:
    std::shared_ptr<const Schema> schema_ = std::make_shared<const Schema>(bench::one_table(kColumns));
    std::unique_ptr<Server> server_;
};

/// Messages a second delivered to all clients together.
template <class Side>
double delivered_per_s(Side& side, Clients& clients, std::size_t count, std::size_t messages) {
    const std::size_t first = clients.everywhere();
    std::size_t sent = 0;
    const auto begun = Clock::now();
    while (clients.everywhere() - first < messages) {
        for (; sent < messages && sent - (clients.everywhere() - first) < kUnderWay; ++sent)
            side.publish(seconds_now());
        clients.read(1000);
    }
    return static_cast<double>(count * messages) / std::chrono::duration<double>(Clock::now() - begun).count();
}

/// Delays from publish to the client's read at 50 messages a second.
template <class Side>
std::vector<double> paced_delays(Side& side, Clients& clients, std::size_t messages) {
    clients.forget_delays();
    auto next = Clock::now();
    const std::size_t until = clients.everywhere() + messages;
    for (std::size_t sent = 0; clients.everywhere() < until;) {
        if (sent < messages && Clock::now() >= next) {
            side.publish(seconds_now());
            ++sent;
            next += std::chrono::milliseconds(20);
        }
        clients.read(1);
    }
    return clients.delays_s;
}

void compare(std::size_t count) {
    BareBeast bare;
    Ours ours;
    Clients of_bare(bare.port(), count);
    Clients of_ours(ours.port(), count);
    const std::size_t messages = std::max<std::size_t>(200, 100'000 / count);
    // Every session has finished its handshake when one message has reached every client.
    delivered_per_s(bare, of_bare, count, 1);
    delivered_per_s(ours, of_ours, count, 1);
    std::vector<double> bare_rate;
    std::vector<double> our_rate;
    for (int round = 0; round < 5; ++round) {
        bare_rate.push_back(delivered_per_s(bare, of_bare, count, messages));
        our_rate.push_back(delivered_per_s(ours, of_ours, count, messages));
    }
    const auto bare_delay = paced_delays(bare, of_bare, 150);
    ours.publish_s.clear();
    const auto our_delay = paced_delays(ours, of_ours, 150);
    const auto ms = [](const std::vector<double>& values, double q) { return bench::quantile(values, q) * 1e3; };
    std::printf("%5zu clients  bare Beast %9.0f msg/s  p50 %6.2f ms  p99 %6.2f ms\n", count,
                bench::quantile(bare_rate, 0.5), ms(bare_delay, 0.5), ms(bare_delay, 0.99));
    std::printf("               stream     %9.0f msg/s  p50 %6.2f ms  p99 %6.2f ms  ratio %.2f (limit 0.70)\n",
                bench::quantile(our_rate, 0.5), ms(our_delay, 0.5), ms(our_delay, 0.99),
                bench::quantile(our_rate, 0.5) / bench::quantile(bare_rate, 0.5));
    std::printf("               publish() holds ingest p99 %.3f ms, most %.3f ms (limit 5 ms p99)\n",
                ms(ours.publish_s, 0.99), ms(ours.publish_s, 1.0));
}

} // namespace

int main() {
    rlimit limit{};
    if (getrlimit(RLIMIT_NOFILE, &limit) == 0 && limit.rlim_cur < 8192) {
        limit.rlim_cur = std::min<rlim_t>(limit.rlim_max, 8192);
        setrlimit(RLIMIT_NOFILE, &limit); // when refused, the connects below fail and say so
    }
    try {
        for (const std::size_t count : {std::size_t{1}, std::size_t{100}, std::size_t{1000}}) compare(count);
    } catch (const std::exception& failure) {
        std::fprintf(stderr, "bench_fanout: %s\n", failure.what());
        return 1;
    }
    return 0;
}
