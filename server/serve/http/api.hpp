#pragma once
/// Which route answers a request: protocol/STREAM.md section 3, and the dashboard's files. Serve thread.
#include <filesystem>
#include <optional>
#include <span>

#include <boost/asio/awaitable.hpp>

#include "server/serve/assets.hpp"
#include "server/serve/budgets.hpp"
#include "server/serve/counters.hpp"
#include "server/serve/http/access.hpp"
#include "server/serve/http/answer.hpp"
#include "server/serve/http/exchange/exchange_routes.hpp"
#include "server/serve/http/flights/flight_routes.hpp"
#include "server/serve/http/flights/job_routes.hpp"
#include "server/serve/http/join_routes.hpp"
#include "server/serve/http/map_routes.hpp"
#include "server/serve/http/operator_routes.hpp"
#include "server/serve/http/recordings/downloads.hpp"
#include "server/serve/http/recordings/recording_routes.hpp"
#include "server/serve/http/static_files.hpp"
#include "server/serve/jobs.hpp"
#include "server/serve/live_recording.hpp"
#include "server/serve/settings.hpp"
#include "server/serve/workers.hpp"

namespace turnstone {

class Api {
  public:
    /// All must outlive it.
    Api(const std::filesystem::path& recordings, std::span<const Asset> assets, const ServeSources& sources,
        const OperatorActions& actions, OperatorAccess& access, LiveRecording& live, Workers& workers, Budgets& budgets,
        Downloads& downloads, Jobs& jobs, debrief::LogBook& book, ServeCounters& counters, JoinRoutes join,
        MapRoutes map);
    /// Host and Origin are known to be allowed.
    [[nodiscard]] boost::asio::awaitable<Answer> answer(const Request& request);

  private:
    /// Of a log book's or a recording's; empty: no such address.
    [[nodiscard]] boost::asio::awaitable<std::optional<Answer>> of_flights(const Request& request);
    [[nodiscard]] Answer health() const;
    [[nodiscard]] Answer counters_answer() const;

    const ServeSources& sources_;
    const Workers& workers_;
    const Budgets& budgets_;
    const ServeCounters& counters_;
    JoinRoutes join_;
    RecordingRoutes recordings_;
    OperatorRoutes operator_;
    FlightRoutes flights_;
    ExchangeRoutes exchange_;
    JobRoutes jobs_;
    StaticFiles files_;
    MapRoutes map_;
};

} // namespace turnstone
