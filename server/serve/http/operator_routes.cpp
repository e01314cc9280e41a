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
#include "server/serve/http/refusals.hpp"
#include "server/serve/join_code.hpp"
#include "server/serve/parse/desk_request.hpp"
#include "server/serve/parse/operator_request.hpp"
#include "shared/time.hpp"

namespace turnstone {
namespace {

using boost::asio::awaitable;
using nlohmann::json;

/// A wrong key beyond the first few is answered this late, and its connection held meanwhile: with the connections an
/// address may have, that bounds how fast anybody guesses.
constexpr std::chrono::seconds kWrongKeyHeld{1};

Answer session_answer(bool is_operator, const std::string& position) {
    json session{{"role", is_operator ? "operator" : "viewer"}, {"version", TURNSTONE_VERSION}};
    if (!position.empty()) session["position"] = position;
    return json_answer(session);
}

Answer done() {
    return json_answer(json::object());
}

const VehicleSetup* vehicle_named(const LiveTape& tape, const std::string& name) {
    for (const VehicleSetup& vehicle : tape.setup->vehicles)
        if (vehicle.dictionary.vehicle == name) return &vehicle;
    return nullptr;
}

bool has_position(const LiveTape& tape, const std::string& id) {
    return std::ranges::any_of(
        tape.setup->vehicles,
        [&](const VehicleSetup& vehicle) {
            if (!vehicle.readiness) return false;
            const auto& positions = vehicle.readiness->positions;
            return std::ranges::find(positions, id, &Position::id) != positions.end();
        });
}

bool has_statement(const VehicleSetup& vehicle, const std::string& id) {
    const auto is_it = [&](const Check& check) { return check.id == id && check.subject == CheckSubject::statement; };
    if (std::ranges::any_of(vehicle.procedures,
                            [&](const Procedure& procedure) { return std::ranges::any_of(procedure.checks, is_it); }))
        return true;
    return vehicle.readiness &&
           std::ranges::any_of(checks_of(*vehicle.readiness), [&](const Check* check) { return is_it(*check); });
}

Answer no_such(std::string_view what, const std::string& name) {
    return error_answer(404, "the live recording has no " + std::string(what) + " '" + name.substr(0, 40) + "'");
}

} // namespace

Answer OperatorRoutes::session(const Request& request) {
    if (request.method == Method::post) return unlock(request);
    if (const auto allowed = allow_parameters(request.target, {}); !allowed)
        return error_answer(400, allowed.error().message);
    if (request.method == Method::remove) return log_out(request);
    if (!is_read(request)) return method_answer("GET, HEAD, POST, DELETE");
    return session_answer(request.client.is_operator, request.client.position);
}

void OperatorRoutes::record(OperatorStep step) {
    if (!live_.tape()) return;
    const auto operators = static_cast<double>(access_.operators(OperatorAccess::Clock::now()));
    actions_.action(OperatorChange{step, operators}, OwedReceipt());
}

Answer OperatorRoutes::log_out(const Request& request) {
    Answer answer = session_answer(false, "");
    answer.headers.emplace_back("Set-Cookie", access_.end_session(request.cookie));
    if (request.client.is_operator) record(OperatorStep::left);
    answer.headers.emplace_back("Set-Cookie", access_.positions().end_session(request.cookie));
    return answer;
}

Answer OperatorRoutes::hand_over(const Request& request) {
    if (request.method != Method::post) return method_answer("POST");
    if (!request.client.is_operator) return needs_operator();
    if (auto refused = refuse_body(request)) return std::move(*refused);
    return link_answer(request, "#/crew?key=" + access_.hand_over(request.cookie, OperatorAccess::Clock::now()));
}

Answer OperatorRoutes::unlock(const Request& request) {
    if (auto refused = refuse_body(request)) return std::move(*refused);
    const auto given = parse_key_request(request.body);
    if (!given) return error_answer(400, given.error().message);
    if (!given->position.empty()) return unlock_position(request, *given);
    const auto attempt =
        access_.attempt(request.client.address, given->key, OperatorAccess::Clock::now(), request.cookie);
    if (attempt.verdict == KeyVerdict::granted) {
        record(attempt.handed_over ? OperatorStep::handed_over : OperatorStep::unlocked);
        Answer answer = session_answer(true, request.client.position);
        answer.headers.emplace_back("Set-Cookie", attempt.set_cookie + (request.encrypted ? "; Secure" : ""));
        return answer;
    }
    return refuse_key(attempt.verdict, "this is not the operator key, which was printed when the server started; the "
                                       "link of a hand-over counts once, for ten minutes");
}

Answer OperatorRoutes::unlock_position(const Request& request, const KeyRequest& given) {
    // A page that is loaded again shows its key again.
    if (request.client.position == given.position) return session_answer(request.client.is_operator, given.position);
    const auto attempt =
        access_.positions().attempt(request.client.address, given.position, given.key, PositionAccess::Clock::now());
    if (attempt.verdict != KeyVerdict::granted)
        return refuse_key(attempt.verdict, "this link is used up or no longer counts; ask the operator for another");
    Answer answer = session_answer(request.client.is_operator, given.position);
    answer.headers.emplace_back("Set-Cookie", attempt.set_cookie + (request.encrypted ? "; Secure" : ""));
    return answer;
}

Answer OperatorRoutes::refuse_key(KeyVerdict verdict, std::string_view wrong) {
    ++counters_.operator_refusals;
    if (verdict == KeyVerdict::wrong) return error_answer(403, wrong);
    Answer answer = error_answer(429, "too many wrong keys from this address; wait a few seconds and try again");
    answer.headers.emplace_back("Retry-After", "2");
    answer.held = kWrongKeyHeld;
    return answer;
}

awaitable<Answer> OperatorRoutes::live_action(const Request& request) {
    using Act = Answer (OperatorRoutes::*)(const std::string& body, RecordedActions& acts);
    constexpr std::pair<std::string_view, Act> kActs[] = {{"marker", &OperatorRoutes::marker},
                                                          {"note", &OperatorRoutes::note},
                                                          {"change_mark", &OperatorRoutes::change_mark},
                                                          {"take_back", &OperatorRoutes::take_back},
                                                          {"flight_name", &OperatorRoutes::flight_name},
                                                          {"recording", &OperatorRoutes::new_recording},
                                                          {"acknowledge", &OperatorRoutes::acknowledge},
                                                          {"shelve", &OperatorRoutes::shelve},
                                                          {"unshelve", &OperatorRoutes::unshelve},
                                                          {"countdown", &OperatorRoutes::countdown},
                                                          {"procedure", &OperatorRoutes::procedure},
                                                          {"step", &OperatorRoutes::step},
                                                          {"statement", &OperatorRoutes::statement},
                                                          {"entered", &OperatorRoutes::entered},
                                                          {"poll", &OperatorRoutes::poll}};
    const std::string& what = request.target.segments[2];
    const auto* const act = std::ranges::find(kActs, what, &std::pair<std::string_view, Act>::first);
    const bool is_answer = what == "answer", is_position = what == "position";
    if (act == std::end(kActs) && !is_answer && !is_position) {
        std::string names;
        for (const auto& [name, ignored] : kActs) names += "'" + std::string(name) + "', ";
        co_return error_answer(404, "the live recording takes " + names + "'answer', 'position'");
    }
    if (request.method != Method::post) co_return method_answer("POST");
    if (!request.client.is_operator && !(is_answer && !request.client.position.empty())) co_return needs_operator();
    if (auto refused = refuse_body(request)) co_return std::move(*refused);
    if (!live_.tape()) co_return error_answer(503, "nothing is being recorded yet; try again in a moment");
    if (is_position) co_return position(request);
    RecordedActions acts(actions_);
    Answer acted = is_answer ? answer(request, acts) : (this->*act->second)(request.body, acts);
    if (acted.status != 200) co_return acted;
    auto recorded = acts.once_recorded(std::move(acted));
    co_return co_await std::move(recorded);
}

Answer OperatorRoutes::new_recording(const std::string& body, RecordedActions& acts) {
    const auto next = parse_recording_request(body);
    if (!next) return error_answer(400, next.error().message);
    acts.new_recording(next->name);
    return done();
}

template <class Mark>
Answer OperatorRoutes::mark(const std::string& body, RecordedActions& acts) {
    const auto given = parse_mark_request(body);
    if (!given) return error_answer(400, given.error().message);
    std::optional<std::int64_t> t_ns;
    if (given->t_s) t_ns = tape_ns(*given->t_s, live_.tape()->t_start_ns);
    acts.action(Mark{.text = given->text, .t_ns = t_ns});
    return done();
}

Answer OperatorRoutes::marker(const std::string& body, RecordedActions& acts) {
    return mark<Marker>(body, acts);
}

Answer OperatorRoutes::note(const std::string& body, RecordedActions& acts) {
    return mark<Note>(body, acts);
}

Answer OperatorRoutes::change_mark(const std::string& body, RecordedActions& acts) {
    const auto change = parse_change_request(body);
    if (!change) return error_answer(400, change.error().message);
    if (!live_.has_mark(change->key)) return no_such("marker or note", change->key);
    acts.action(ChangeMark{change->key, change->text});
    return done();
}

Answer OperatorRoutes::take_back(const std::string& body, RecordedActions& acts) {
    const auto mark = parse_keyed_request(body);
    if (!mark) return error_answer(400, mark.error().message);
    if (!live_.has_mark(mark->key)) return no_such("marker or note", mark->key);
    acts.action(ChangeMark{.key = mark->key});
    return done();
}

Answer OperatorRoutes::flight_name(const std::string& body, RecordedActions& acts) {
    const auto flight = parse_flight_name_request(body);
    if (!flight) return error_answer(400, flight.error().message);
    const auto& vehicles = live_.tape()->setup->vehicles;
    if (std::ranges::find(vehicles, flight->vehicle, [](const VehicleSetup& one) { return one.dictionary.vehicle; }) ==
        vehicles.end())
        return error_answer(404, "this station has no vehicle '" + flight->vehicle.substr(0, 40) + "'");
    acts.action(NameFlight{flight->vehicle, flight->name});
    return done();
}

Answer OperatorRoutes::acknowledge(const std::string& body, RecordedActions& acts) {
    const auto alert = parse_keyed_request(body);
    if (!alert) return error_answer(400, alert.error().message);
    if (!live_.has_alert(alert->key)) return no_such("alert", alert->key);
    acts.action(Acknowledge{alert->key});
    return done();
}

Answer OperatorRoutes::shelve(const std::string& body, RecordedActions& acts) {
    const auto alert = parse_shelve_request(body);
    if (!alert) return error_answer(400, alert.error().message);
    if (!live_.has_alert(alert->key)) return no_such("alert", alert->key);
    acts.action(Shelve{alert->key, alert->for_s});
    return done();
}

Answer OperatorRoutes::unshelve(const std::string& body, RecordedActions& acts) {
    const auto alert = parse_keyed_request(body);
    if (!alert) return error_answer(400, alert.error().message);
    if (!live_.has_alert(alert->key)) return no_such("alert", alert->key);
    acts.action(Unshelve{alert->key});
    return done();
}

Answer OperatorRoutes::countdown(const std::string& body, RecordedActions& acts) {
    const auto asked = parse_countdown_request(body);
    if (!asked) return error_answer(400, asked.error().message);
    Countdown countdown{.step = asked->step, .reason = asked->reason};
    if (asked->step == CountdownStep::run)
        countdown.zero_ns = sources_.station_now_ns() + seconds_to_ns(*asked->left_s);
    else
        countdown.left_s = asked->left_s;
    if (auto refused = refuse(countdown)) return std::move(*refused);
    live_.under_way().ask(countdown);
    acts.action(std::move(countdown));
    return done();
}

/// What would do nothing is not answered as done. After events that could not be seen nobody knows.
template <class Act>
std::optional<Answer> OperatorRoutes::refuse(const Act& act) {
    if (live_.missed_events()) return std::nullopt;
    const std::string why = live_.under_way().refuse(act);
    return why.empty() ? std::nullopt : std::optional(error_answer(409, why));
}

Answer OperatorRoutes::procedure(const std::string& body, RecordedActions& acts) {
    auto command = parse_procedure_request(body);
    if (!command) return error_answer(400, command.error().message);
    const VehicleSetup* const vehicle = vehicle_named(*live_.tape(), command->vehicle);
    if (vehicle == nullptr) return no_such("vehicle", command->vehicle);
    if (std::ranges::find(vehicle->procedures, command->procedure, &Procedure::id) == vehicle->procedures.end())
        return no_such("procedure", command->procedure);
    if (auto refused = refuse(*command)) return std::move(*refused);
    live_.under_way().ask(*command);
    acts.action(std::move(*command));
    return done();
}

Answer OperatorRoutes::step(const std::string& body, RecordedActions& acts) {
    auto command = parse_step_request(body);
    if (!command) return error_answer(400, command.error().message);
    const VehicleSetup* const vehicle = vehicle_named(*live_.tape(), command->vehicle);
    if (vehicle == nullptr) return no_such("vehicle", command->vehicle);
    const Procedure* const under_way = live_.under_way().procedure_of(command->vehicle);
    const auto has_step = [&](const Procedure& procedure) {
        return (under_way == nullptr || under_way->id == procedure.id) &&
               std::ranges::find(procedure.steps, command->step, &Step::id) != procedure.steps.end();
    };
    if (std::ranges::none_of(vehicle->procedures, has_step)) return no_such("step", command->step);
    if (auto refused = refuse(*command)) return std::move(*refused);
    live_.under_way().ask(*command);
    acts.action(std::move(*command));
    return done();
}

Answer OperatorRoutes::statement(const std::string& body, RecordedActions& acts) {
    auto said = parse_statement_request(body);
    if (!said) return error_answer(400, said.error().message);
    const VehicleSetup* const vehicle = vehicle_named(*live_.tape(), said->vehicle);
    if (vehicle == nullptr) return no_such("vehicle", said->vehicle);
    if (!has_statement(*vehicle, said->check)) return no_such("statement", said->check);
    if (auto refused = refuse(*said)) return std::move(*refused);
    acts.action(std::move(*said));
    return done();
}

Answer OperatorRoutes::entered(const std::string& body, RecordedActions& acts) {
    auto value = parse_entered_request(body);
    if (!value) return error_answer(400, value.error().message);
    if (!value->vehicle.empty() && vehicle_named(*live_.tape(), value->vehicle) == nullptr)
        return no_such("vehicle", value->vehicle);
    acts.action(std::move(*value));
    return done();
}

Answer OperatorRoutes::poll(const std::string& body, RecordedActions& acts) {
    auto question = parse_poll_request(body);
    if (!question) return error_answer(400, question.error().message);
    if (!has_position(*live_.tape(), question->position)) return no_such("position", question->position);
    acts.action(std::move(*question));
    return done();
}

Answer OperatorRoutes::answer(const Request& request, RecordedActions& acts) {
    auto said = parse_answer_request(request.body);
    if (!said) return error_answer(400, said.error().message);
    if (!request.client.is_operator && request.client.position != said->position)
        return error_answer(403, "this device answers for " + request.client.position + " only");
    if (!has_position(*live_.tape(), said->position)) return no_such("position", said->position);
    acts.action(std::move(*said));
    return done();
}

Answer OperatorRoutes::position(const Request& request) {
    const auto asked = parse_position_request(request.body);
    if (!asked) return error_answer(400, asked.error().message);
    if (!has_position(*live_.tape(), asked->position)) return no_such("position", asked->position);
    if (asked->deed == PositionDeed::forget) {
        access_.positions().forget(asked->position);
        return done();
    }
    const std::string key = access_.positions().give(asked->position, PositionAccess::Clock::now());
    return link_answer(request, "#/ready?position=" + asked->position + "&key=" + key);
}

Answer OperatorRoutes::link_answer(const Request& request, const std::string& view) const {
    // The operator's own page may be at an address that only this machine has.
    const std::string scheme = request.encrypted ? "https://" : "http://";
    const std::vector<std::string> addresses = join_.addresses();
    const auto reachable = std::ranges::find_if(addresses, [&](const std::string& address) {
        return address.starts_with(scheme) && !address.starts_with(scheme + "127.");
    });
    const std::string link = (reachable == addresses.end() ? scheme + request.host + "/" : *reachable) + view;
    return json_answer({{"link", link}, {"svg", qr_svg(link)}});
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
        RecordedActions acts(actions_);
        for (const auto& [key, value] : changes) {
            if (!value) continue;
            live_.set_meta(key, *value);
            acts.set_live_meta(key, *value);
        }
        auto recorded = acts.once_recorded(done());
        co_return co_await std::move(recorded);
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
