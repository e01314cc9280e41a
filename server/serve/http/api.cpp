#include "server/serve/http/api.hpp"

#include <string>
#include <utility>

#include "server/serve/encode/counters_text.hpp"

namespace turnstone {

using boost::asio::awaitable;

Api::Api(const std::filesystem::path& recordings, std::span<const Asset> assets, const ServeSources& sources,
         const OperatorActions& actions, OperatorAccess& access, LiveRecording& live, Workers& workers,
         Budgets& budgets, Downloads& downloads, Jobs& jobs, debrief::LogBook& book, ServeCounters& counters,
         JoinRoutes join, MapRoutes map)
    : sources_(sources), workers_(workers), budgets_(budgets), counters_(counters), join_(join),
      recordings_(recordings, live, sources.recorder, workers, budgets, downloads),
      operator_(access, sources, actions, live, recordings, workers, downloads, counters, std::move(join)),
      flights_(recordings, live, actions, workers, downloads, book), exchange_(recordings, workers, budgets, downloads),
      jobs_(jobs), files_(assets), map_(std::move(map)) {}

awaitable<Answer> Api::answer(const Request& request) {
    const auto& segments = request.target.segments;
    const std::string& path = request.target.path;
    // No conditional expression around co_await: g++ 12 destroys its temporary twice.
    if (path == "/api/recordings") co_return co_await recordings_.list(request);
    if (segments.size() >= 2 && segments[0] == "api") {
        auto answered = co_await of_flights(request);
        if (answered) co_return std::move(*answered);
    }
    if (segments.size() == 4 && segments[0] == "api" && segments[1] == "recordings") {
        if (segments[3] == "meta") co_return co_await operator_.set_meta(request);
        co_return co_await recordings_.read(request);
    }
    if (segments.size() == 3 && segments[0] == "api" && segments[1] == "live")
        co_return co_await operator_.live_action(request);
    if (segments.size() == 6 && path.starts_with("/api/map/tiles/")) co_return co_await map_.tile(request);
    if (path == "/api/session") co_return operator_.session(request);
    if (path == "/api/session/hand_over") co_return operator_.hand_over(request);
    if (path == "/api/stream") co_return error_answer(400, "this address speaks WebSocket (RFC 6455) only");
    const bool is_join = path == "/api/join" || path == "/api/join.svg";
    const bool known = is_join || path == "/api/map" || path == "/api/health" || path == "/api/counters";
    if (!known && !segments.empty() && segments[0] == "api")
        co_return error_answer(404, "the interface has no such address; protocol/STREAM.md lists them");
    if (!is_read(request)) co_return method_answer("GET, HEAD");
    if (!known) co_return files_.answer(request);
    if (is_join) co_return path == "/api/join" ? join_.list(request) : join_.code(request);
    if (path == "/api/map") co_return map_.about(request);
    if (const auto allowed = allow_parameters(request.target, {}); !allowed)
        co_return error_answer(400, allowed.error().message);
    co_return path == "/api/health" ? health() : counters_answer();
}

awaitable<std::optional<Answer>> Api::of_flights(const Request& request) {
    const auto& segments = request.target.segments;
    if (segments[1] == "flights") {
        if (segments.size() == 2) co_return co_await flights_.list(request);
        if (segments.size() == 3) co_return co_await flights_.describe(request);
        if (segments.size() == 4 && segments[3] == "bookmarks") co_return co_await flights_.bookmark(request);
        if (segments.size() == 4 && segments[3] == "export") co_return co_await exchange_.export_flight(request);
    } else if (segments[1] == "import") {
        if (segments.size() == 3 && segments[2] == "upload") co_return co_await exchange_.upload(request);
    } else if (segments[1] == "recordings") {
        if (segments.size() == 3 && request.method == Method::remove) co_return co_await flights_.remove(request);
        if (segments.size() == 4 && segments[3] == "archive") co_return co_await flights_.archive(request);
        if (segments.size() == 4 && segments[3] == "restore") co_return co_await flights_.restore(request);
    } else if (segments[1] == "jobs") {
        if (segments.size() == 2) co_return jobs_.begin(request);
        if (segments.size() == 3) co_return jobs_.one(request);
    }
    co_return std::nullopt;
}

Answer Api::health() const {
    const RecorderStatus recorder = sources_.recorder();
    Answer answer;
    answer.content_type = "text/plain; charset=utf-8";
    answer.body = "ok\n";
    if (!recorder.fault.empty() || !recorder.recording) {
        answer.status = 503;
        answer.body = (recorder.fault.empty() ? std::string("nothing is being recorded") : recorder.fault) + "\n";
    }
    return answer;
}

Answer Api::counters_answer() const {
    Answer answer;
    answer.content_type = kCountersType;
    answer.body = counters_text(counters_, budgets_, workers_.waiting(), sources_.recorder(), sources_.links());
    return answer;
}

} // namespace turnstone
