#pragma once
/// What an operator asks for in one request, done at once, and the answer once it is in the recording.
#include <memory>
#include <string>
#include <vector>

#include <boost/asio/awaitable.hpp>

#include "server/serve/http/answer.hpp"
#include "server/serve/settings.hpp"

namespace turnstone {

class RecordedActions {
  public:
    /// `actions` must outlive it.
    explicit RecordedActions(const OperatorActions& actions) : actions_(actions) {}

    void action(Action action);
    void new_recording(std::string name);
    void set_live_meta(std::string key, std::string value);

    /// Waits until all of it is committed and gives `done`; where it is not, or not soon, an answer that says so and
    /// why.
    [[nodiscard]] boost::asio::awaitable<Answer> once_recorded(Answer done) const;

  private:
    [[nodiscard]] OwedReceipt receipt();

    const OperatorActions& actions_;
    std::vector<std::shared_ptr<const Receipt>> receipts_;
};

} // namespace turnstone
