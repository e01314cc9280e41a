#pragma once
/// The https port: ends TLS (1.2 and 1.3) and hands on plain connections. Everything behind it is as on the http port;
/// nothing there knows of TLS. What encryption costs is paid on a thread of its own.
#include <cstddef>
#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <string>
#include <thread>

#include <boost/asio/awaitable.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/ssl/context.hpp>

#include "server/serve/port/tls_identity.hpp"
#include "shared/result.hpp"

namespace turnstone {

class TlsDoor {
  public:
    /// A connected local socket that speaks for a client at `address`; the callee owns the descriptor. Called on the
    /// door's thread.
    using OnConnection = std::function<void(int descriptor, const std::string& address)>;
    /// Connections beyond `connections_max` are closed at once.
    TlsDoor(std::size_t connections_max, OnConnection on_connection);
    ~TlsDoor(); ///< stop()
    TlsDoor(const TlsDoor&) = delete;
    TlsDoor& operator=(const TlsDoor&) = delete;

    [[nodiscard]] Result<void> open(const TlsIdentity& identity, const boost::asio::ip::tcp::endpoint& endpoint);
    [[nodiscard]] std::uint16_t port() const noexcept { return port_; } ///< as bound; 0 before open()
    /// Ends every connection.
    void stop();

  private:
    struct Relay;
    boost::asio::awaitable<void> accept();
    boost::asio::awaitable<void> let_in(boost::asio::ip::tcp::socket socket, std::string address);
    boost::asio::awaitable<void> bring_in(std::shared_ptr<Relay> relay);
    boost::asio::awaitable<void> take_out(std::shared_ptr<Relay> relay);

    const std::size_t connections_max_;
    const OnConnection on_connection_;
    boost::asio::io_context context_{1};
    boost::asio::ssl::context tls_;
    boost::asio::ip::tcp::acceptor acceptor_{context_};
    std::uint16_t port_ = 0;
    std::size_t connections_ = 0;
    std::map<std::string, std::size_t> shaking_hands_; ///< by address
    std::thread thread_;                               ///< last: it uses all of the above
};

} // namespace turnstone
