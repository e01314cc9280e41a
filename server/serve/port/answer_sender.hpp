#pragma once
/// Answers onto a connection: header and body at once, a file in pieces that a worker reads.
#include <memory>

#include <boost/asio/awaitable.hpp>
#include <boost/beast/core/tcp_stream.hpp>

#include "server/serve/counters.hpp"
#include "server/serve/http/answer.hpp"
#include "server/serve/workers.hpp"

namespace turnstone {

class AnswerSender {
  public:
    /// Both must outlive it.
    AnswerSender(Workers& workers, ServeCounters& counters) : workers_(workers), counters_(counters) {}
    /// False: the connection is over. A file is closed by a worker, before its last octets are on their way.
    [[nodiscard]] boost::asio::awaitable<bool> send(boost::beast::tcp_stream& stream, Answer& answer,
                                                    const Request& request, bool keep_alive);

  private:
    [[nodiscard]] boost::asio::awaitable<bool> send_all(boost::beast::tcp_stream& stream, Answer& answer,
                                                        const Request& request, bool keep_alive);
    [[nodiscard]] boost::asio::awaitable<bool> send_file(boost::beast::tcp_stream& stream,
                                                         std::shared_ptr<FileBody>& file, const Client& client);
    [[nodiscard]] boost::asio::awaitable<Answer> read_piece(std::shared_ptr<FileBody> file, std::uint64_t at,
                                                            std::size_t size, const Client& client);
    [[nodiscard]] boost::asio::awaitable<void> let_go(std::shared_ptr<FileBody>& file, const Client& client);

    Workers& workers_;
    ServeCounters& counters_;
};

/// Reads and discards what the client still sends: closing with unread data would reset the connection and lose the
/// answer (RFC 9112 section 9.6).
[[nodiscard]] boost::asio::awaitable<void> hang_up(boost::beast::tcp_stream& stream);

} // namespace turnstone
