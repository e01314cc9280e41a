#pragma once
/// From an HTTP connection to a viewer of the stream.
#include <string>

#include <boost/asio/awaitable.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/core/tcp_stream.hpp>

#include "server/serve/budgets.hpp"
#include "server/serve/counters.hpp"
#include "server/serve/port/answer_sender.hpp"
#include "server/serve/port/request_checks.hpp"
#include "server/serve/stream/hub.hpp"

namespace turnstone {

class ViewerEntrance {
  public:
    /// All must outlive it. `send_buffer_bytes`: of the kernel, for each viewer.
    ViewerEntrance(Hub& hub, Budgets& budgets, AnswerSender sender, ServeCounters& counters, int send_buffer_bytes)
        : hub_(hub), budgets_(budgets), sender_(sender), counters_(counters), send_buffer_bytes_(send_buffer_bytes) {}

    /// Takes the connection. `buffer`: what the client sent after its request; `allowed`: Host and Origin are;
    /// `set_cookie`: for the answer to the handshake, empty: none.
    [[nodiscard]] boost::asio::awaitable<void> admit(boost::beast::tcp_stream& stream,
                                                     boost::beast::flat_buffer& buffer, const BeastRequest& request,
                                                     const Client& client, bool allowed, const std::string& set_cookie);

  private:
    Hub& hub_;
    Budgets& budgets_;
    AnswerSender sender_;
    ServeCounters& counters_;
    int send_buffer_bytes_;
};

} // namespace turnstone
