#include "server/serve/port/tls_door.hpp"

#include <array>
#include <chrono>

#include <boost/asio/buffer.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/local/stream_protocol.hpp>
#include <boost/asio/ssl/stream.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/write.hpp>
#include <fmt/format.h>
#include <spdlog/spdlog.h>

#include <sys/socket.h>
#include <unistd.h>

#include "server/serve/port/no_throw.hpp"

namespace turnstone {

namespace asio = boost::asio;
using asio::awaitable;

namespace {

using tcp = asio::ip::tcp;
using local = asio::local::stream_protocol;

constexpr std::chrono::seconds kHandshakeTime{10};
constexpr std::chrono::seconds kGoodbyeTime{2};
constexpr std::size_t kHandshakesOfOne = 32; // a browser opens six connections at a time
constexpr std::size_t kPieceBytes = 16384;   // a TLS record

} // namespace

/// One connection: TLS outside, a local pair of sockets inside, whose other end the server has.
struct TlsDoor::Relay {
    Relay(TlsDoor& door_in, tcp::socket socket)
        : door(door_in), outside(std::move(socket), door_in.tls_), inside(door_in.context_),
          patience(door_in.context_) {
        ++door.connections_;
    }
    ~Relay() { --door.connections_; }
    Relay(const Relay&) = delete;
    Relay& operator=(const Relay&) = delete;

    /// Unless it is called again or `patience` is cancelled, the connection ends after this.
    void end_after(std::chrono::seconds time, const std::shared_ptr<Relay>& self) {
        patience.expires_after(time);
        patience.async_wait([self](boost::system::error_code stopped) {
            if (!stopped) self->end();
        });
    }
    void end() {
        boost::system::error_code ignored; // it is over either way
        outside.lowest_layer().close(ignored);
        inside.close(ignored);
    }

    TlsDoor& door;
    asio::ssl::stream<tcp::socket> outside;
    local::socket inside;
    asio::steady_timer patience;
};

TlsDoor::TlsDoor(std::size_t connections_max, OnConnection on_connection)
    : connections_max_(connections_max), on_connection_(std::move(on_connection)),
      tls_(asio::ssl::context::tls_server) {}

TlsDoor::~TlsDoor() {
    stop();
}

Result<void> TlsDoor::open(const TlsIdentity& identity, const tcp::endpoint& endpoint) {
    boost::system::error_code error;
    tls_.set_options(asio::ssl::context::default_workarounds | asio::ssl::context::no_tlsv1 |
                     asio::ssl::context::no_tlsv1_1);
    tls_.use_certificate_chain(asio::buffer(identity.certificate_pem), error);
    if (!error) tls_.use_private_key(asio::buffer(identity.key_pem), asio::ssl::context::pem, error);
    if (error) return fail("https cannot be offered: " + error.message());
    acceptor_.open(endpoint.protocol(), error);
    if (!error) acceptor_.set_option(tcp::acceptor::reuse_address(true), error);
    if (!error) acceptor_.bind(endpoint, error);
    if (!error) acceptor_.listen(1024, error);
    if (error)
        return fail(fmt::format("cannot listen on {} port {} for https: {}; choose another tls_port, or stop the "
                                "program that uses it",
                                endpoint.address().to_string(), endpoint.port(), error.message()));
    port_ = acceptor_.local_endpoint().port();
    asio::co_spawn(context_, accept(), asio::detached);
    thread_ = std::thread([this] {
        while (!context_.stopped()) {
            try {
                context_.run();
            } catch (const std::exception& failure) {
                spdlog::error("the https port continues after an unexpected failure: {}", failure.what());
            }
        }
    });
    return {};
}

void TlsDoor::stop() {
    context_.stop();
    if (thread_.joinable()) thread_.join();
}

awaitable<void> TlsDoor::accept() {
    asio::steady_timer pause(context_);
    for (;;) {
        auto [error, socket] = co_await acceptor_.async_accept(kNoThrow);
        if (error) { // out of descriptors: others may become free
            pause.expires_after(std::chrono::milliseconds(100));
            co_await pause.async_wait(kNoThrow);
            continue;
        }
        boost::system::error_code gone;
        const auto remote = socket.remote_endpoint(gone);
        if (gone || connections_ >= connections_max_) continue;
        std::string address = remote.address().to_string();
        if (shaking_hands_[address] >= kHandshakesOfOne) continue;
        socket.set_option(tcp::no_delay(true), gone);
        asio::co_spawn(context_, let_in(std::move(socket), std::move(address)), asio::detached);
    }
}

awaitable<void> TlsDoor::let_in(tcp::socket socket, std::string address) {
    const auto relay = std::make_shared<Relay>(*this, std::move(socket));
    ++shaking_hands_[address];
    relay->end_after(kHandshakeTime, relay);
    const auto [refused] = co_await relay->outside.async_handshake(asio::ssl::stream_base::server, kNoThrow);
    relay->patience.cancel();
    if (--shaking_hands_[address] == 0) shaking_hands_.erase(address);
    if (refused) co_return; // plain http, a scanner, or a browser that does not trust the certificate
    std::array<int, 2> ends{};
    if (::socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0, ends.data()) != 0) co_return;
    boost::system::error_code error;
    relay->inside.assign(local(), ends[0], error);
    if (error) {
        ::close(ends[0]);
        ::close(ends[1]);
        co_return;
    }
    on_connection_(ends[1], address);
    asio::co_spawn(context_, bring_in(relay), asio::detached);
    asio::co_spawn(context_, take_out(relay), asio::detached);
}

/// What the client sends.
awaitable<void> TlsDoor::bring_in(std::shared_ptr<Relay> relay) {
    std::array<char, kPieceBytes> piece;
    for (;;) {
        const auto [ended, size] = co_await relay->outside.async_read_some(asio::buffer(piece), kNoThrow);
        if (ended) break;
        const auto [closed, sent] = co_await asio::async_write(relay->inside, asio::buffer(piece, size), kNoThrow);
        if (closed) break;
    }
    boost::system::error_code ignored; // the other side may have gone first
    relay->inside.shutdown(local::socket::shutdown_send, ignored);
}

/// What the server answers. The connection ends with it.
awaitable<void> TlsDoor::take_out(std::shared_ptr<Relay> relay) {
    std::array<char, kPieceBytes> piece;
    for (;;) {
        const auto [ended, size] = co_await relay->inside.async_read_some(asio::buffer(piece), kNoThrow);
        if (ended) break;
        const auto [closed, sent] = co_await asio::async_write(relay->outside, asio::buffer(piece, size), kNoThrow);
        if (closed) break;
    }
    relay->end_after(kGoodbyeTime, relay);
    co_await relay->outside.async_shutdown(kNoThrow);
    relay->patience.cancel();
    relay->end();
}

} // namespace turnstone
