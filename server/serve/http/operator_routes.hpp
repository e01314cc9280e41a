#pragma once
/// What the operator key unlocks: the session itself, markers, notes, alerts, a new recording, a recording's name and
/// notes.
#include <filesystem>
#include <string>

#include <boost/asio/awaitable.hpp>

#include "server/serve/counters.hpp"
#include "server/serve/http/access.hpp"
#include "server/serve/http/answer.hpp"
#include "server/serve/http/downloads.hpp"
#include "server/serve/live_recording.hpp"
#include "server/serve/settings.hpp"
#include "server/serve/workers.hpp"

namespace turnstone {

class OperatorRoutes {
  public:
    /// All must outlive it.
    OperatorRoutes(OperatorAccess& access, const ServeSources& sources, const OperatorActions& actions,
                   LiveRecording& live, const std::filesystem::path& folder, Workers& workers, Downloads& downloads,
                   ServeCounters& counters)
        : access_(access), sources_(sources), actions_(actions), live_(live), folder_(folder), workers_(workers),
          downloads_(downloads), counters_(counters) {}

    /// /api/session
    [[nodiscard]] Answer session(const Request& request);
    /// /api/live/{what}
    [[nodiscard]] Answer live_action(const Request& request);
    /// /api/recordings/{id}/meta
    [[nodiscard]] boost::asio::awaitable<Answer> set_meta(const Request& request);

  private:
    [[nodiscard]] Answer unlock(const Request& request);
    [[nodiscard]] Answer log_out(const Request& request);
    // Of a request that an operator may make.
    [[nodiscard]] Answer new_recording(const std::string& body);
    template <class Mark>
    [[nodiscard]] Answer mark(const std::string& body);
    [[nodiscard]] Answer marker(const std::string& body);
    [[nodiscard]] Answer note(const std::string& body);
    [[nodiscard]] Answer acknowledge(const std::string& body);
    [[nodiscard]] Answer shelve(const std::string& body);
    [[nodiscard]] Answer unshelve(const std::string& body);
    [[nodiscard]] Answer countdown(const std::string& body);

    OperatorAccess& access_;
    const ServeSources& sources_;
    const OperatorActions& actions_;
    LiveRecording& live_;
    const std::filesystem::path& folder_;
    Workers& workers_;
    Downloads& downloads_;
    ServeCounters& counters_;
};

} // namespace turnstone
