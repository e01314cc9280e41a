#pragma once
/// Flights to other programs, and logs from flight computers: /api/flights/{id}/export and /api/import/upload.
#include <filesystem>

#include <boost/asio/awaitable.hpp>

#include "server/debrief/recordings.hpp"
#include "server/serve/budgets.hpp"
#include "server/serve/http/answer.hpp"
#include "server/serve/http/recordings/downloads.hpp"
#include "server/serve/workers.hpp"

namespace turnstone {

class ExchangeRoutes {
  public:
    /// All must outlive it.
    ExchangeRoutes(const std::filesystem::path& folder, Workers& workers, Budgets& budgets, Downloads& downloads)
        : recordings_{folder}, workers_(workers), budgets_(budgets), downloads_(downloads) {}

    /// GET /api/flights/{id}/export
    [[nodiscard]] boost::asio::awaitable<Answer> export_flight(const Request& request);
    /// POST /api/import/upload
    [[nodiscard]] boost::asio::awaitable<Answer> upload(const Request& request);

  private:
    const debrief::Recordings recordings_;
    Workers& workers_;
    Budgets& budgets_;
    Downloads& downloads_;
};

} // namespace turnstone
