#pragma once
/// HTTP connections: each brings requests one after another, until it closes or becomes a viewer. Serve thread only.
///
/// A connection that waits for its next request gives way to a newcomer when there are too many: it may be a browser's
/// idle one, which is opened again when it is needed, or half a request that is never finished. What waits longest goes
/// first. So nobody keeps others out by holding connections open.
#include <cstddef>
#include <list>
#include <memory>
#include <string>
#include <string_view>
#include <utility>

#include <boost/asio/awaitable.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/beast/core/tcp_stream.hpp>

#include "server/serve/budgets.hpp"
#include "server/serve/http/access.hpp"
#include "server/serve/http/api.hpp"
#include "server/serve/port/answer_sender.hpp"
#include "server/serve/port/request_checks.hpp"
#include "server/serve/port/viewer_entrance.hpp"

namespace turnstone {

class HttpConnections : public std::enable_shared_from_this<HttpConnections> {
  public:
    /// `access` and `budgets` must outlive it.
    HttpConnections(HostCheck hosts, const OperatorAccess& access, Budgets& budgets, Api api, AnswerSender sender,
                    ViewerEntrance entrance)
        : hosts_(std::move(hosts)), access_(access), budgets_(budgets), api_(std::move(api)), sender_(sender),
          entrance_(entrance) {}

    /// A connection of a client at `address`. Encrypted ones come by a local pair of sockets (tls_door.hpp).
    [[nodiscard]] boost::asio::awaitable<void> serve(boost::asio::ip::tcp::socket socket, std::string address,
                                                     bool encrypted);
    /// Every connection ends after the answer under way.
    void stop() noexcept { stopping_ = true; }
    [[nodiscard]] bool stopping() const noexcept { return stopping_; }
    [[nodiscard]] std::size_t answers_open() const noexcept { return answers_open_; }

  private:
    /// One that waits for a request to come, or to come to its end.
    struct Waiting {
        boost::beast::tcp_stream& stream;
        Lease& place;
        const std::string& address;
        bool displaced = false;
    };
    enum class Standing : unsigned char { guest, only_for_operators, refused };

    /// Takes a place for the connection, another's if need be. `why_not` when it is refused.
    [[nodiscard]] Standing find_place(const Client& client, Lease& place, std::string& why_not);
    /// Ends the connection that has waited longest, of `address` unless that is empty. False: none waits.
    bool displace(const std::string& address);
    [[nodiscard]] boost::asio::awaitable<void> refuse(boost::beast::tcp_stream& stream, std::string_view why);
    [[nodiscard]] boost::asio::awaitable<Answer> answer(const BeastRequest& message, Request& request,
                                                        Standing standing);
    [[nodiscard]] bool is_ours(const Request& request);

    HostCheck hosts_;
    const OperatorAccess& access_;
    Budgets& budgets_;
    Api api_;
    AnswerSender sender_;
    ViewerEntrance entrance_;
    std::list<Waiting> waiting_; ///< in order: the longest first
    std::uint64_t met_ = 0;      ///< connections so far
    std::size_t refusing_ = 0;
    std::size_t answers_open_ = 0;
    bool stopping_ = false;
};

} // namespace turnstone
