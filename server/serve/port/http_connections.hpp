#pragma once
/// HTTP connections: each brings requests one after another, until it closes or becomes a viewer. Serve thread only.
#include <cstddef>
#include <memory>
#include <utility>

#include <boost/asio/awaitable.hpp>
#include <boost/asio/ip/tcp.hpp>

#include "server/serve/http/access.hpp"
#include "server/serve/http/api.hpp"
#include "server/serve/port/answer_sender.hpp"
#include "server/serve/port/viewer_entrance.hpp"

namespace turnstone {

class HttpConnections : public std::enable_shared_from_this<HttpConnections> {
  public:
    HttpConnections(HostCheck hosts, Api api, AnswerSender sender, ViewerEntrance entrance)
        : hosts_(std::move(hosts)), api_(std::move(api)), sender_(sender), entrance_(entrance) {}

    [[nodiscard]] boost::asio::awaitable<void> serve(boost::asio::ip::tcp::socket socket);
    /// Every connection ends after the answer under way.
    void stop() noexcept { stopping_ = true; }
    [[nodiscard]] bool stopping() const noexcept { return stopping_; }
    [[nodiscard]] std::size_t count() const noexcept { return count_; } ///< viewers not counted
    [[nodiscard]] std::size_t answers_open() const noexcept { return answers_open_; }

  private:
    [[nodiscard]] bool is_ours(const Request& request);

    HostCheck hosts_;
    Api api_;
    AnswerSender sender_;
    ViewerEntrance entrance_;
    std::size_t count_ = 0;
    std::size_t answers_open_ = 0;
    bool stopping_ = false;
};

} // namespace turnstone
