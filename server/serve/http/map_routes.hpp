#pragma once
/// What lies on and under the map beside the flight: /api/map and its tiles.
#include <string>

#include <boost/asio/awaitable.hpp>

#include "server/serve/http/answer.hpp"
#include "server/serve/map/site_map.hpp"
#include "server/serve/workers.hpp"

namespace turnstone {

class MapRoutes {
  public:
    /// Both must outlive it.
    MapRoutes(const SiteMap& map, Workers& workers);

    /// /api/map
    [[nodiscard]] Answer about(const Request& request) const;
    /// /api/map/tiles/{zoom}/{x}/{y}
    [[nodiscard]] boost::asio::awaitable<Answer> tile(const Request& request);

  private:
    const SiteMap& map_;
    Workers& workers_;
    const std::string about_; ///< made once: it never changes while the server runs
};

} // namespace turnstone
