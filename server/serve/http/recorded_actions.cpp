#include "server/serve/http/recorded_actions.hpp"

#include <chrono>
#include <optional>
#include <utility>

#include <boost/asio/steady_timer.hpp>
#include <boost/asio/this_coro.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <nlohmann/json.hpp>

namespace turnstone {
namespace {

using boost::asio::awaitable;

/// A receipt is looked at, and calls nobody: what the recorder's thread would call may be gone by then.
constexpr std::chrono::milliseconds kLookAgain{5};
/// A commit is a tenth of a second away, unless the disk hangs.
constexpr std::chrono::seconds kPatience{4};

Answer not_recorded(const std::string& why) {
    Answer answer = json_answer({{"recorded", false}, {"why", "done, but not in the recording: " + why}});
    answer.status = 202;
    return answer;
}

} // namespace

OwedReceipt RecordedActions::receipt() {
    const auto shared = std::make_shared<Receipt>();
    receipts_.push_back(shared);
    return OwedReceipt(shared);
}

void RecordedActions::action(Action action) {
    actions_.action(std::move(action), receipt());
}

void RecordedActions::new_recording(std::string name) {
    actions_.new_recording(std::move(name), receipt());
}

void RecordedActions::set_live_meta(std::string key, std::string value) {
    actions_.set_live_meta(std::move(key), std::move(value), receipt());
}

awaitable<Answer> RecordedActions::once_recorded(Answer done) const {
    const auto executor = co_await boost::asio::this_coro::executor;
    boost::asio::steady_timer pause(executor);
    const auto until = std::chrono::steady_clock::now() + kPatience;
    for (const auto& receipt : receipts_) {
        std::optional<std::string> why = receipt->said();
        while (!why && std::chrono::steady_clock::now() < until) {
            pause.expires_after(kLookAgain);
            auto passed = pause.async_wait(boost::asio::use_awaitable);
            co_await std::move(passed);
            why = receipt->said();
        }
        if (!why) co_return not_recorded("the disk has not taken it yet");
        if (!why->empty()) co_return not_recorded(*why);
    }
    co_return done;
}

} // namespace turnstone
