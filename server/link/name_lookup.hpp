#pragma once
/// Looks a host name up without holding anyone up: the system's own look-up cannot be cancelled and takes as long as
/// its name server does, so it runs on a thread that nobody waits for.
#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/system/error_code.hpp>

#include "server/link/link.hpp"

namespace turnstone {

struct Addresses {
    boost::system::error_code error; ///< why there are none
    std::vector<boost::asio::ip::tcp::endpoint> endpoints;
};

/// May block for as long as it likes. getaddrinfo, but in tests.
using Resolve = std::function<Addresses(const std::string& host, std::uint16_t port)>;
[[nodiscard]] Addresses system_resolve(const std::string& host, std::uint16_t port);

class NameLookup {
  public:
    NameLookup(boost::asio::io_context& context, Resolve resolve);
    ~NameLookup();
    NameLookup(const NameLookup&) = delete;
    NameLookup& operator=(const NameLookup&) = delete;

    /// Calls `on_found` on the io_context once. While an earlier look-up is still under way it takes over that one's
    /// answer, so that a name server that hangs costs one thread, however often it is tried again.
    void start(const std::string& host, std::uint16_t port, std::function<void(const Addresses&)> on_found);
    /// No call comes after this; returns at once.
    void cancel() noexcept;

  private:
    struct Shared;
    static void answer(const std::shared_ptr<Shared>& shared, const Addresses& found);

    std::shared_ptr<Shared> shared_;
};

/// A TCP link with a look-up of one's own.
[[nodiscard]] std::shared_ptr<Link> make_tcp_link(boost::asio::io_context& context, const TcpSource& source,
                                                  LinkHandler handler, Resolve resolve);

} // namespace turnstone
