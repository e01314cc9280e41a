#pragma once
/// What the operator key unlocks: the session itself, markers, notes, names of flights, alerts, the countdown,
/// procedures and the poll, a new recording, a recording's name and notes; and what a position's key unlocks: that
/// position's answer.
#include <filesystem>
#include <optional>
#include <string>
#include <utility>

#include <boost/asio/awaitable.hpp>

#include "server/serve/counters.hpp"
#include "server/serve/http/access.hpp"
#include "server/serve/http/answer.hpp"
#include "server/serve/http/join_routes.hpp"
#include "server/serve/http/recorded_actions.hpp"
#include "server/serve/http/recordings/downloads.hpp"
#include "server/serve/live_recording.hpp"
#include "server/serve/parse/operator_request.hpp"
#include "server/serve/settings.hpp"
#include "server/serve/workers.hpp"

namespace turnstone {

class OperatorRoutes {
  public:
    /// All must outlive it.
    OperatorRoutes(OperatorAccess& access, const ServeSources& sources, const OperatorActions& actions,
                   LiveRecording& live, const std::filesystem::path& folder, Workers& workers, Downloads& downloads,
                   ServeCounters& counters, JoinRoutes join)
        : access_(access), sources_(sources), actions_(actions), live_(live), folder_(folder), workers_(workers),
          downloads_(downloads), counters_(counters), join_(std::move(join)) {}

    /// /api/session
    [[nodiscard]] Answer session(const Request& request);
    /// /api/session/hand_over
    [[nodiscard]] Answer hand_over(const Request& request);
    /// /api/live/{what}
    [[nodiscard]] boost::asio::awaitable<Answer> live_action(const Request& request);
    /// /api/recordings/{id}/meta
    [[nodiscard]] boost::asio::awaitable<Answer> set_meta(const Request& request);

  private:
    [[nodiscard]] Answer unlock(const Request& request);
    [[nodiscard]] Answer refuse_key(KeyVerdict verdict, std::string_view wrong);
    [[nodiscard]] Answer log_out(const Request& request);
    /// On the tape, where there is one; nobody waits for it.
    void record(OperatorStep step);
    // Of a request that an operator may make.
    [[nodiscard]] Answer new_recording(const std::string& body, RecordedActions& acts);
    template <class Act>
    [[nodiscard]] std::optional<Answer> refuse(const Act& act);
    template <class Mark>
    [[nodiscard]] Answer mark(const std::string& body, RecordedActions& acts);
    [[nodiscard]] Answer marker(const std::string& body, RecordedActions& acts);
    [[nodiscard]] Answer note(const std::string& body, RecordedActions& acts);
    [[nodiscard]] Answer change_mark(const std::string& body, RecordedActions& acts);
    [[nodiscard]] Answer take_back(const std::string& body, RecordedActions& acts);
    [[nodiscard]] Answer flight_name(const std::string& body, RecordedActions& acts);
    [[nodiscard]] Answer acknowledge(const std::string& body, RecordedActions& acts);
    [[nodiscard]] Answer shelve(const std::string& body, RecordedActions& acts);
    [[nodiscard]] Answer unshelve(const std::string& body, RecordedActions& acts);
    [[nodiscard]] Answer countdown(const std::string& body, RecordedActions& acts);
    [[nodiscard]] Answer procedure(const std::string& body, RecordedActions& acts);
    [[nodiscard]] Answer step(const std::string& body, RecordedActions& acts);
    [[nodiscard]] Answer statement(const std::string& body, RecordedActions& acts);
    [[nodiscard]] Answer entered(const std::string& body, RecordedActions& acts);
    [[nodiscard]] Answer poll(const std::string& body, RecordedActions& acts);
    [[nodiscard]] Answer position(const Request& request);
    // Of a request that the position's device may make, too.
    [[nodiscard]] Answer answer(const Request& request, RecordedActions& acts);
    [[nodiscard]] Answer unlock_position(const Request& request, const KeyRequest& given);
    /// A link for another device, and its QR code.
    [[nodiscard]] Answer link_answer(const Request& request, const std::string& view) const;

    OperatorAccess& access_;
    const ServeSources& sources_;
    const OperatorActions& actions_;
    LiveRecording& live_;
    const std::filesystem::path& folder_;
    Workers& workers_;
    Downloads& downloads_;
    ServeCounters& counters_;
    JoinRoutes join_;
};

} // namespace turnstone
