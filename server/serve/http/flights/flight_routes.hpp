#pragma once
/// The log book: /api/flights and what operators write into a flight; archiving and deleting recordings.
#include <filesystem>
#include <functional>
#include <memory>

#include <boost/asio/awaitable.hpp>

#include "server/debrief/flights/flight_id.hpp"
#include "server/debrief/flights/log_book.hpp"
#include "server/serve/http/answer.hpp"
#include "server/serve/http/recordings/downloads.hpp"
#include "server/serve/live_recording.hpp"
#include "server/serve/settings.hpp"
#include "server/serve/workers.hpp"

namespace turnstone {

class FlightRoutes {
  public:
    /// All must outlive it.
    FlightRoutes(const std::filesystem::path& folder, const LiveRecording& live, const OperatorActions& actions,
                 Workers& workers, Downloads& downloads, debrief::LogBook& book)
        : folder_(folder), live_(live), actions_(actions), workers_(workers), downloads_(downloads), book_(book) {}

    /// GET /api/flights
    [[nodiscard]] boost::asio::awaitable<Answer> list(const Request& request);
    /// POST /api/flights/{id}
    [[nodiscard]] boost::asio::awaitable<Answer> describe(const Request& request);
    /// POST /api/flights/{id}/bookmarks
    [[nodiscard]] boost::asio::awaitable<Answer> bookmark(const Request& request);
    /// POST /api/recordings/{id}/archive
    [[nodiscard]] boost::asio::awaitable<Answer> archive(const Request& request);
    /// DELETE /api/recordings/{id}
    [[nodiscard]] boost::asio::awaitable<Answer> remove(const Request& request);
    /// POST /api/recordings/{id}/restore
    [[nodiscard]] boost::asio::awaitable<Answer> restore(const Request& request);

  private:
    struct FoundChapter;
    using MakeActions = std::function<std::vector<Action>(const FoundChapter&)>;

    /// Writes what `make` gives for the flight into its recording, live or closed.
    [[nodiscard]] boost::asio::awaitable<Answer> write(const Request& request, const debrief::FlightId& id,
                                                       const MakeActions& make);

    const std::filesystem::path& folder_;
    const LiveRecording& live_;
    const OperatorActions& actions_;
    Workers& workers_;
    Downloads& downloads_;
    debrief::LogBook& book_;
};

} // namespace turnstone
