#pragma once
/// GET /api/recordings and what lies below it: the list, and reads of one recording.
#include <filesystem>
#include <functional>
#include <memory>

#include <boost/asio/awaitable.hpp>

#include "server/record/write/recorder.hpp"
#include "server/serve/budgets.hpp"
#include "server/serve/http/answer.hpp"
#include "server/serve/http/recordings/downloads.hpp"
#include "server/serve/live_recording.hpp"
#include "server/serve/recording_list.hpp"
#include "server/serve/workers.hpp"

namespace turnstone {

class RecordingRoutes {
  public:
    /// All must outlive it.
    RecordingRoutes(const std::filesystem::path& folder, const LiveRecording& live,
                    const std::function<RecorderStatus()>& recorder, Workers& workers, Budgets& budgets,
                    Downloads& downloads)
        : folder_(folder), live_(live), recorder_(recorder), workers_(workers), budgets_(budgets),
          downloads_(downloads), recordings_(std::make_shared<RecordingList>(folder)) {}

    [[nodiscard]] boost::asio::awaitable<Answer> list(const Request& request);
    /// /api/recordings/{id}/{what}, but for `meta`.
    [[nodiscard]] boost::asio::awaitable<Answer> read(const Request& request);

  private:
    [[nodiscard]] boost::asio::awaitable<Answer> report(const Request& request, const RecordingPlace& place);
    [[nodiscard]] boost::asio::awaitable<Answer> download(const Request& request, const RecordingPlace& place);

    const std::filesystem::path& folder_;
    const LiveRecording& live_;
    const std::function<RecorderStatus()>& recorder_;
    Workers& workers_;
    Budgets& budgets_;
    Downloads& downloads_;
    std::shared_ptr<RecordingList> recordings_;
};

} // namespace turnstone
