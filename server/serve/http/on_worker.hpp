#pragma once
/// From a coroutine of the serve thread to a worker and back.
#include <functional>

#include <boost/asio/awaitable.hpp>

#include "server/serve/http/answer.hpp"
#include "server/serve/workers.hpp"

namespace turnstone {

/// Named before it is awaited: g++ 12 destroys a closure written inside a co_await expression twice.
using WorkerTask = std::function<Answer(ReaderCache&)>;

/// Runs `task` on a worker and comes back to the awaiting thread with its answer; 503 when too many wait.
[[nodiscard]] boost::asio::awaitable<Answer> on_worker(Workers& workers, Lane lane, const Client& client,
                                                       WorkerTask task);

} // namespace turnstone
