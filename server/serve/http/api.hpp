#pragma once
/// The routes of protocol/STREAM.md section 3 besides the stream itself. Serve thread; recordings are read on workers.
#include <cstddef>

#include <boost/asio/awaitable.hpp>

#include "server/serve/http/access.hpp"
#include "server/serve/http/answer.hpp"
#include "server/serve/http/static_files.hpp"
#include "server/serve/stream/hub.hpp"

namespace turnstone {

class Api {
  public:
    Api(Hub& hub, OperatorAccess& access, StaticFiles files);
    /// Host and Origin were checked before.
    [[nodiscard]] boost::asio::awaitable<Answer> answer(const Request& request);

  private:
    [[nodiscard]] boost::asio::awaitable<Answer> recording(const Request& request);
    [[nodiscard]] boost::asio::awaitable<Answer> list(const Request& request);
    [[nodiscard]] boost::asio::awaitable<Answer> download(const Request& request, std::filesystem::path path,
                                                          bool live);
    [[nodiscard]] boost::asio::awaitable<Answer> set_meta(const Request& request, std::filesystem::path path,
                                                          bool live);
    [[nodiscard]] Answer session(const Request& request);
    [[nodiscard]] Answer live_action(const Request& request);
    [[nodiscard]] Answer health(const Request& request) const;
    [[nodiscard]] bool by_operator(const Request& request) const { return access_.is_operator(request.cookie); }

    Hub& hub_;
    OperatorAccess& access_;
    StaticFiles files_;
    std::size_t downloads_ = 0;
};

/// Runs `work` on a worker and comes back to the serve thread with its answer; 503 when too many wait.
[[nodiscard]] boost::asio::awaitable<Answer> on_worker(Hub& hub, std::function<Answer(ReaderCache&)> work);

} // namespace turnstone
