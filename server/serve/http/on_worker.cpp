#include "server/serve/http/on_worker.hpp"

#include <exception>
#include <memory>
#include <string>
#include <utility>

#include <boost/asio/associated_executor.hpp>
#include <boost/asio/async_result.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/use_awaitable.hpp>

namespace turnstone {

boost::asio::awaitable<Answer> on_worker(Workers& workers, Lane lane, const Client& client, WorkerTask task) {
    return boost::asio::async_initiate<const boost::asio::use_awaitable_t<>, void(Answer)>(
        [&workers, lane, client](auto handler, WorkerTask given) {
            const auto home = boost::asio::get_associated_executor(handler);
            // Jobs must be copyable, a coroutine's handler is not.
            auto shared = std::make_shared<decltype(handler)>(std::move(handler));
            const auto finish = [shared, home](Answer answer) {
                boost::asio::post(
                    home, [shared, answer = std::move(answer)]() mutable { std::move (*shared)(std::move(answer)); });
            };
            const auto taken = workers.submit(
                lane, client,
                [given = std::move(given), finish](ReaderCache& cache) mutable {
                    Answer answer;
                    try {
                        // What the task leased is given back before its answer is on its way.
                        answer = std::exchange(given, {})(cache);
                    } catch (const std::exception& failure) {
                        answer = error_answer(503, std::string("the recording could not be read: ") + failure.what());
                    }
                    finish(std::move(answer));
                });
            if (!taken) finish(busy_answer(taken.error().message));
        },
        boost::asio::use_awaitable, std::move(task));
}

} // namespace turnstone
