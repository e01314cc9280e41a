#include "server/serve/http/operator_routes.hpp"

#include <algorithm>
#include <chrono>
#include <iterator>
#include <optional>
#include <utility>

#include <nlohmann/json.hpp>

#include "server/record/read/catalogue.hpp"
#include "server/serve/encode/tape_time.hpp"
#include "server/serve/http/on_worker.hpp"
#include "server/serve/parse/operator_request.hpp"
#include "shared/time.hpp"

namespace turnstone {
namespace {

using boost::asio::awaitable;
using nlohmann::json;

/// A wrong key beyond the first few is answered this late, and its connection held meanwhile: with the connections an
/// address may have, that bounds how fast anybody guesses.
constexpr std::chrono::seconds kWrongKeyHeld{1};

/// Refusals common to all requests with a body. Empty: go on.
std::optional<Answer> refuse_body(const Request& request) {
    if (const auto allowed = allow_parameters(request.target, {}); !allowed)
        return error_answer(400, allowed.error().message);
    if (!request.content_type.starts_with("application/json"))
        return error_answer(415, "send the request's body as 'Content-Type: application/json'");
    return std::nullopt;
}

Answer needs_operator() {
    return error_answer(403, "only the operator may do this; unlock with the key printed when the server started");
}

Answer session_answer(bool is_operator) {
    return json_answer({{"role", is_operator ? "operator" : "viewer"}, {"version", TURNSTONE_VERSION}});
}

Answer done() {
    return json_answer(json::object());
}

} // namespace

Answer OperatorRoutes::session(const Request& request) {
    if (request.method == Method::post) return unlock(request);
    if (const auto allowed = allow_parameters(request.target, {}); !allowed)
        return error_answer(400, allowed.error().message);
    if (request.method == Method::remove) return log_out(request);
    if (!is_read(request)) return method_answer("GET, HEAD, POST, DELETE");
    return session_answer(request.client.is_operator);
}

Answer OperatorRoutes::log_out(const Request& request) {
    Answer answer = session_answer(false);
    answer.headers.emplace_back("Set-Cookie", access_.end_session(request.cookie));
    return answer;
}

Answer OperatorRoutes::unlock(const Request& request) {
    if (auto refused = refuse_body(request)) return std::move(*refused);
    const auto given = parse_key_request(request.body);
    if (!given) return error_answer(400, given.error().message);
    const auto attempt = access_.attempt(request.client.address, given->key, OperatorAccess::Clock::now());
    if (attempt.verdict == OperatorAccess::Verdict::granted) {
        Answer answer = session_answer(true);
        answer.headers.emplace_back("Set-Cookie", attempt.set_cookie + (request.encrypted ? "; Secure" : ""));
        return answer;
    }
    ++counters_.operator_refusals;
    if (attempt.verdict == OperatorAccess::Verdict::wrong)
        return error_answer(403, "this is not the operator key; it was printed when the server started");
    Answer answer = error_answer(429, "too many wrong keys from this address; wait a few seconds and try again");
    answer.headers.emplace_back("Retry-After", "2");
    answer.held = kWrongKeyHeld;
    return answer;
}

Answer OperatorRoutes::live_action(const Request& request) {
    using Act = Answer (OperatorRoutes::*)(const std::string& body);
    constexpr std::pair<std::string_view, Act> kActs[] = {
        {"marker", &OperatorRoutes::marker},           {"note", &OperatorRoutes::note},
        {"recording", &OperatorRoutes::new_recording}, {"acknowledge", &OperatorRoutes::acknowledge},
        {"shelve", &OperatorRoutes::shelve},           {"unshelve", &OperatorRoutes::unshelve},
        {"countdown", &OperatorRoutes::countdown}};
    const auto* const act =
        std::ranges::find(kActs, request.target.segments[2], &std::pair<std::string_view, Act>::first);
    if (act == std::end(kActs)) {
        std::string names;
        for (const auto& [name, ignored] : kActs) names += (names.empty() ? "'" : ", '") + std::string(name) + "'";
        return error_answer(404, "the live recording takes " + names);
    }
    if (request.method != Method::post) return method_answer("POST");
    if (!request.client.is_operator) return needs_operator();
    if (auto refused = refuse_body(request)) return std::move(*refused);
    if (!live_.tape()) return error_answer(503, "nothing is being recorded yet; try again in a moment");
    return (this->*act->second)(request.body);
}

Answer OperatorRoutes::new_recording(const std::string& body) {
    const auto next = parse_recording_request(body);
    if (!next) return error_answer(400, next.error().message);
    actions_.new_recording(next->name);
    return done();
}

template <class Mark>
Answer OperatorRoutes::mark(const std::string& body) {
    const auto given = parse_mark_request(body);
    if (!given) return error_answer(400, given.error().message);
    std::optional<std::int64_t> t_ns;
    if (given->t_s) t_ns = tape_ns(*given->t_s, live_.tape()->t_start_ns);
    actions_.action(Mark{.text = given->text, .t_ns = t_ns});
    return done();
}

Answer OperatorRoutes::marker(const std::string& body) {
    return mark<Marker>(body);
}

Answer OperatorRoutes::note(const std::string& body) {
    return mark<Note>(body);
}

Answer OperatorRoutes::acknowledge(const std::string& body) {
    const auto alert = parse_alert_request(body);
    if (!alert) return error_answer(400, alert.error().message);
    actions_.action(Acknowledge{alert->key});
    return done();
}

Answer OperatorRoutes::shelve(const std::string& body) {
    const auto alert = parse_shelve_request(body);
    if (!alert) return error_answer(400, alert.error().message);
    actions_.action(Shelve{alert->key, alert->for_s});
    return done();
}

Answer OperatorRoutes::unshelve(const std::string& body) {
    const auto alert = parse_alert_request(body);
    if (!alert) return error_answer(400, alert.error().message);
    actions_.action(Unshelve{alert->key});
    return done();
}

Answer OperatorRoutes::countdown(const std::string& body) {
    const auto asked = parse_countdown_request(body);
    if (!asked) return error_answer(400, asked.error().message);
    Countdown countdown{.step = asked->step};
    if (asked->step == CountdownStep::run)
        countdown.zero_ns = sources_.station_now_ns() + seconds_to_ns(*asked->left_s);
    else
        countdown.left_s = asked->left_s;
    actions_.action(countdown);
    return done();
}

awaitable<Answer> OperatorRoutes::set_meta(const Request& request) {
    if (request.method != Method::post) co_return method_answer("POST");
    if (!request.client.is_operator) co_return needs_operator();
    if (auto refused = refuse_body(request)) co_return std::move(*refused);
    const auto place = live_.find(request.target.segments[2]);
    if (!place) co_return error_answer(404, place.error().message);
    const auto meta = parse_meta_request(request.body);
    if (!meta) co_return error_answer(400, meta.error().message);
    const std::pair<const char*, std::optional<std::string>> changes[] = {{"name", meta->name}, {"notes", meta->notes}};
    if (place->live) {
        for (const auto& [key, value] : changes) {
            if (!value) continue;
            live_.set_meta(key, *value);
            actions_.set_live_meta(key, *value);
        }
        co_return done();
    }
    workers_.release_readers();
    const WorkerTask task = [&folder = folder_, &downloads = downloads_, place = *place,
                             meta = *meta](ReaderCache& cache) {
        const auto path = path_of(folder, place);
        if (!path) return error_answer(404, path.error().message);
        cache.clear();
        downloads.cut(*path);
        for (const auto& [key, value] : {std::pair("name", meta.name), std::pair("notes", meta.notes)}) {
            if (!value) continue;
            if (const auto stored = set_recording_meta(*path, key, *value); !stored)
                return error_answer(503, stored.error().message);
        }
        return done();
    };
    co_return co_await on_worker(workers_, Lane::stored, request.client, task);
}

} // namespace turnstone
