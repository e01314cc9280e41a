#pragma once
/// One connection: requests one after another, until it closes or becomes a viewer.
#include <cstddef>
#include <memory>
#include <utility>

#include <boost/asio/awaitable.hpp>
#include <boost/asio/ip/tcp.hpp>

#include "server/serve/counters.hpp"
#include "server/serve/http/access.hpp"
#include "server/serve/http/api.hpp"
#include "server/serve/settings.hpp"
#include "server/serve/stream/hub.hpp"
#include "server/serve/workers.hpp"

namespace turnstone {

/// What all connections share; serve thread only.
struct HttpShared {
    const ServeSettings& settings;
    ServeCounters& counters;
    Workers& workers;
    Hub& hub;
    OperatorAccess& access;
    HostCheck hosts;
    Api api;
    std::size_t connections = 0;  ///< HTTP connections, viewers not counted
    std::size_t answers_open = 0; ///< requests being answered
    bool stopping = false;
};

[[nodiscard]] boost::asio::awaitable<void> serve_connection(boost::asio::ip::tcp::socket socket,
                                                            std::shared_ptr<HttpShared> owner);

} // namespace turnstone
