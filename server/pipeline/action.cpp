#include "server/pipeline/action.hpp"

#include <charconv>
#include <cmath>

#include <nlohmann/json.hpp>

#include "server/pipeline/events.hpp"

namespace turnstone {

namespace {

using nlohmann::json;

struct Writer {
    std::string operator()(const UnknownAction& unknown) const { return unknown.json; }
    template <class Known>
    std::string operator()(const Known& action) const {
        return object(action).dump(-1, ' ', false, json::error_handler_t::replace);
    }

    static json object(const Marker& marker) { return placed("marker", marker.text, marker.t_ns); }
    static json object(const Note& note) { return placed("note", note.text, note.t_ns); }
    static json object(const ChangeMark& change) {
        json out{{"action", "change_mark"}, {"key", change.key}};
        if (change.text) out["text"] = *change.text;
        return out;
    }
    static json object(const NameFlight& flight) {
        return said({{"action", "name_flight"}, {"vehicle", flight.vehicle}, {"name", flight.name}}, flight.t_ns);
    }
    static json object(const DescribeFlight& flight) {
        json out{{"action", "describe_flight"}, {"vehicle", flight.vehicle}};
        if (flight.notes) out["notes"] = *flight.notes;
        if (flight.tags) out["tags"] = *flight.tags;
        if (flight.configuration) out["configuration"] = *flight.configuration;
        return said(std::move(out), flight.t_ns);
    }
    static json object(const Acknowledge& alert) { return {{"action", "acknowledge"}, {"key", alert.key}}; }
    static json object(const Shelve& alert) {
        return {{"action", "shelve"}, {"key", alert.key}, {"for_s", alert.for_s}};
    }
    static json object(const Unshelve& alert) { return {{"action", "unshelve"}, {"key", alert.key}}; }
    static json object(const Countdown& countdown) {
        json out{{"action", "countdown"}, {"step", word(countdown.step)}};
        if (countdown.zero_ns) out["zero_ns"] = std::to_string(*countdown.zero_ns);
        if (countdown.left_s) out["left_s"] = *countdown.left_s;
        if (!countdown.reason.empty()) out["reason"] = countdown.reason;
        return out;
    }
    static json object(const OperatorChange& change) {
        return {{"action", "operators"}, {"step", word(change.step)}, {"operators", change.operators}};
    }
    static json object(const LinkReport& link) {
        return {{"action", "link_state"}, {"link", link.link}, {"state", word(link.state)}, {"detail", link.detail}};
    }
    static json object(const RecorderReport& recorder) {
        return {{"action", "recording_state"}, {"fault", recorder.fault}, {"stopped", recorder.stopped}};
    }
    static json object(const Backlog& backlog) { return {{"action", "backlog"}, {"behind_s", backlog.behind_s}}; }
    static json object(const Resumed& resumed) {
        return {{"action", "resumed"}, {"t_last_ns", std::to_string(resumed.t_last_ns)}};
    }
    static json object(const Relayed& relayed) {
        return {{"action", "relayed"},
                {"link", relayed.link},
                {"clock", relayed.clock},
                {"sent_ns", std::to_string(relayed.sent_ns)},
                {"heard_before_s", relayed.heard_before_s}};
    }
    static json object(const PublishReport& report) { return {{"action", "publishing"}, {"fault", report.fault}}; }
    static json object(const EngineTotal& engine) {
        return {{"action", "engine_total"}, {"vehicle", engine.vehicle}, {"running_s", engine.running_s}};
    }
    static json object(const ProcedureCommand& command) {
        return {{"action", "procedure"},
                {"vehicle", command.vehicle},
                {"procedure", command.procedure},
                {"do", word(command.step)},
                {"by", command.by}};
    }
    static json object(const StepCommand& command) {
        return {{"action", "step"},         {"vehicle", command.vehicle}, {"step", command.step},
                {"do", word(command.deed)}, {"by", command.by},           {"note", command.note}};
    }
    static json object(const CheckStatement& statement) {
        return said({{"action", "statement"},
                     {"vehicle", statement.vehicle},
                     {"check", statement.check},
                     {"holds", statement.holds},
                     {"by", statement.by},
                     {"note", statement.note}},
                    statement.t_ns);
    }
    static json object(const PollQuestion& question) { return {{"action", "poll"}, {"position", question.position}}; }
    static json object(const PollAnswer& answer) {
        return said({{"action", "answer"},
                     {"position", answer.position},
                     {"go", answer.go},
                     {"by", answer.by},
                     {"note", answer.note}},
                    answer.t_ns);
    }
    static json object(const Entered& entered) {
        return said({{"action", "entered"},
                     {"vehicle", entered.vehicle},
                     {"name", entered.name},
                     {"value", entered.value},
                     {"by", entered.by}},
                    entered.t_ns);
    }
    static json object(const StationFigure& figure) {
        return said({{"action", "station_figure"}, {"what", word(figure.what)}, {"value", figure.value}}, figure.t_ns);
    }
    static json object(const PastProcedure& past) {
        json out{{"action", "past_procedure"}, {"vehicle", past.vehicle},     {"procedure", past.procedure},
                 {"runs", past.runs},          {"recording", past.recording}, {"sha256", past.sha256}};
        if (past.passed_ns) out["passed_ns"] = std::to_string(*past.passed_ns);
        if (past.failed_ns) out["failed_ns"] = std::to_string(*past.failed_ns);
        if (!past.waived.empty()) out["waived"] = past.waived;
        return out;
    }
    static json object(const CarriedProcedure& carried) {
        json steps = json::array(), checks = json::array();
        for (const CarriedStep& step : carried.steps)
            steps.push_back({{"id", step.id}, {"state", word(step.state)}, {"by", step.by}, {"note", step.note}});
        for (const CarriedCheck& check : carried.checks) {
            json each{{"id", check.id},
                      {"state", word(check.state)},
                      {"t_ns", std::to_string(check.t_ns)},
                      {"why", check.why}};
            if (check.measured) each["measured"] = *check.measured;
            if (check.margin) each["margin"] = *check.margin;
            checks.push_back(std::move(each));
        }
        return {{"action", "carried_procedure"},
                {"vehicle", carried.vehicle},
                {"procedure", carried.procedure},
                {"by", carried.by},
                {"run", carried.run},
                {"t_begun_ns", std::to_string(carried.t_begun_ns)},
                {"steps", std::move(steps)},
                {"checks", std::move(checks)}};
    }
    static json object(const CarriedBaseline& baseline) {
        return {{"action", "carried_baseline"}, {"vehicle", baseline.vehicle}, {"procedure", baseline.procedure},
                {"check", baseline.check},      {"values", baseline.values},   {"t_ns", std::to_string(baseline.t_ns)}};
    }
    static json object(const CarriedVerdict& verdict) {
        return {{"action", "carried_verdict"},
                {"vehicle", verdict.vehicle},
                {"ready", verdict.ready},
                {"reasons", verdict.reasons},
                {"t_ns", std::to_string(verdict.t_ns)}};
    }
    static json object(const CarriedAlert& alert) {
        const Event& raised = alert.raised;
        // The values as a text: members of an object would lose their order.
        return {{"action", "carried_alert"},
                {"event", raised.id ? word(*raised.id) : std::string_view()},
                {"t_ns", std::to_string(raised.t_ns)},
                {"t_sigma_s", raised.t_sigma_s},
                {"level", word(raised.level)},
                {"vehicle", alert.vehicle},
                {"key", raised.key},
                {"text", raised.text},
                {"advice", raised.advice},
                {"data_json", to_json(raised.values)},
                {"state", word(alert.state)},
                {"shelved_s", alert.shelved_s}};
    }

    static json said(json out, std::optional<std::int64_t> t_ns) {
        if (t_ns) out["t_ns"] = std::to_string(*t_ns);
        return out;
    }
    static json placed(const char* action, const std::string& text, std::optional<std::int64_t> t_ns) {
        json out{{"action", action}, {"text", text}};
        if (t_ns) out["t_ns"] = std::to_string(*t_ns);
        return out;
    }
};

/// The members of one action; `ok` turns false at the first that is missing, of another type, or too many.
class Members {
  public:
    explicit Members(const json& object) : object_(object) {}

    std::string text(const char* name) {
        const json* member = find(name);
        if (member == nullptr || !member->is_string()) return fail(std::string());
        return member->get<std::string>();
    }
    double number(const char* name) {
        const json* member = find(name);
        if (member == nullptr || !member->is_number()) return fail(0.0);
        return member->get<double>();
    }
    template <class Enum>
    Enum word(const char* name) {
        const auto known = from_word<Enum>(text(name));
        return known ? *known : fail(Enum{});
    }
    bool flag(const char* name) {
        const json* member = find(name);
        if (member == nullptr || !member->is_boolean()) return fail(false);
        return member->get<bool>();
    }
    std::optional<std::int64_t> time(const char* name) {
        const auto number = object_.find(name);
        if (number == object_.end()) return std::nullopt;
        if (number->is_number_integer()) { // as recordings of layout 1 have it
            ++seen_;
            return number->get<std::int64_t>();
        }
        const std::string text = this->text(name);
        std::int64_t t_ns = 0;
        const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), t_ns);
        if (error != std::errc() || end != text.data() + text.size()) return fail(std::nullopt);
        return t_ns;
    }
    std::optional<double> number_if(const char* name) {
        return object_.contains(name) ? std::optional(number(name)) : std::nullopt;
    }
    std::int64_t needed_time(const char* name) {
        const auto t_ns = time(name);
        return t_ns ? *t_ns : fail(std::int64_t{0});
    }
    std::vector<std::string> texts(const char* name) {
        std::vector<std::string> out;
        const json* member = find(name);
        if (member == nullptr || !member->is_array()) return fail(out);
        for (const json& each : *member) {
            if (!each.is_string()) return fail(out);
            out.push_back(each.get<std::string>());
        }
        return out;
    }
    std::vector<std::string> texts_if(const char* name) {
        return object_.contains(name) ? texts(name) : std::vector<std::string>();
    }
    std::vector<double> numbers(const char* name) {
        std::vector<double> out;
        const json* member = find(name);
        if (member == nullptr || !member->is_array()) return fail(out);
        for (const json& each : *member) {
            if (!each.is_number()) return fail(out);
            out.push_back(each.get<double>());
        }
        return out;
    }
    /// One of these members of each object in an array.
    template <class Part, class Read>
    std::vector<Part> parts(const char* name, Read&& read) {
        std::vector<Part> out;
        const json* member = find(name);
        if (member == nullptr || !member->is_array()) return fail(out);
        for (const json& each : *member) {
            if (!each.is_object()) return fail(out);
            Members in(each);
            out.push_back(read(in));
            ok_ = ok_ && in.ok();
        }
        return out;
    }
    /// All members were asked for and were as expected.
    [[nodiscard]] bool ok() const { return ok_ && seen_ == object_.size(); }
    void refuse() { ok_ = false; }

  private:
    const json* find(const char* name) {
        const auto found = object_.find(name);
        seen_ += found == object_.end() ? 0 : 1;
        return found == object_.end() ? nullptr : &*found;
    }
    template <class T>
    T fail(T otherwise) {
        ok_ = false;
        return otherwise;
    }

    const json& object_;
    std::size_t seen_ = 0;
    bool ok_ = true;
};

CarriedAlert carried_alert(Members& in) {
    CarriedAlert out;
    out.raised.id = in.word<EventId>("event");
    const auto t_ns = in.time("t_ns");
    if (!t_ns) in.refuse();
    out.raised.t_ns = out.raised.t_found_ns = t_ns.value_or(0);
    out.raised.t_sigma_s = in.number("t_sigma_s");
    out.raised.kind = EventKind::alert_raised;
    out.raised.level = in.word<Level>("level");
    out.raised.vehicle = -1;
    out.vehicle = in.text("vehicle");
    out.raised.key = in.text("key");
    out.raised.text = in.text("text");
    out.raised.advice = in.text("advice");
    out.raised.values = event_values_from_json(in.text("data_json"));
    out.state = in.word<AlertState>("state");
    out.shelved_s = in.number("shelved_s");
    return out;
}

CarriedProcedure carried_procedure(Members& in) {
    return {.vehicle = in.text("vehicle"),
            .procedure = in.text("procedure"),
            .by = in.text("by"),
            .run = in.number("run"),
            .t_begun_ns = in.needed_time("t_begun_ns"),
            .steps = in.parts<CarriedStep>(
                "steps",
                [](Members& step) {
                    return CarriedStep{.id = step.text("id"),
                                       .state = step.word<StepState>("state"),
                                       .by = step.text("by"),
                                       .note = step.text("note")};
                }),
            .checks = in.parts<CarriedCheck>(
                "checks",
                [](Members& check) {
                    return CarriedCheck{.id = check.text("id"),
                                        .state = check.word<CheckState>("state"),
                                        .measured = check.number_if("measured"),
                                        .margin = check.number_if("margin"),
                                        .t_ns = check.needed_time("t_ns"),
                                        .why = check.text("why")};
                })};
}

/// What is done in procedures and for readiness boards; empty: another kind.
std::optional<Action> read_checklist(const std::string& kind, Members& in) {
    if (kind == "procedure")
        return ProcedureCommand{.vehicle = in.text("vehicle"),
                                .procedure = in.text("procedure"),
                                .step = in.word<ProcedureStep>("do"),
                                .by = in.text("by")};
    if (kind == "step")
        return StepCommand{.vehicle = in.text("vehicle"),
                           .step = in.text("step"),
                           .deed = in.word<StepDeed>("do"),
                           .by = in.text("by"),
                           .note = in.text("note")};
    if (kind == "statement")
        return CheckStatement{.vehicle = in.text("vehicle"),
                              .check = in.text("check"),
                              .holds = in.flag("holds"),
                              .by = in.text("by"),
                              .note = in.text("note"),
                              .t_ns = in.time("t_ns")};
    if (kind == "poll") return PollQuestion{.position = in.text("position")};
    if (kind == "answer")
        return PollAnswer{.position = in.text("position"),
                          .go = in.flag("go"),
                          .by = in.text("by"),
                          .note = in.text("note"),
                          .t_ns = in.time("t_ns")};
    if (kind == "entered")
        return Entered{.vehicle = in.text("vehicle"),
                       .name = in.text("name"),
                       .value = in.number("value"),
                       .by = in.text("by"),
                       .t_ns = in.time("t_ns")};
    if (kind == "station_figure")
        return StationFigure{
            .what = in.word<StationValue>("what"), .value = in.number("value"), .t_ns = in.time("t_ns")};
    if (kind == "past_procedure")
        return PastProcedure{.vehicle = in.text("vehicle"),
                             .procedure = in.text("procedure"),
                             .runs = in.number("runs"),
                             .passed_ns = in.time("passed_ns"),
                             .recording = in.text("recording"),
                             .sha256 = in.text("sha256"),
                             .failed_ns = in.time("failed_ns"),
                             .waived = in.texts_if("waived")};
    if (kind == "carried_procedure") return carried_procedure(in);
    if (kind == "carried_baseline")
        return CarriedBaseline{.vehicle = in.text("vehicle"),
                               .procedure = in.text("procedure"),
                               .check = in.text("check"),
                               .values = in.numbers("values"),
                               .t_ns = in.needed_time("t_ns")};
    if (kind == "carried_verdict")
        return CarriedVerdict{.vehicle = in.text("vehicle"),
                              .ready = in.flag("ready"),
                              .reasons = in.texts("reasons"),
                              .t_ns = in.needed_time("t_ns")};
    return std::nullopt;
}

std::optional<Action> read(const json& object) {
    if (!object.is_object()) return std::nullopt;
    Members in(object);
    const std::string kind = in.text("action");
    std::optional<Action> out;
    if (kind == "marker") {
        out = Marker{in.text("text"), in.time("t_ns")};
    } else if (kind == "note") {
        out = Note{in.text("text"), in.time("t_ns")};
    } else if (kind == "change_mark") {
        ChangeMark change{in.text("key")};
        if (object.contains("text")) change.text = in.text("text");
        out = change;
    } else if (kind == "name_flight") {
        out = NameFlight{in.text("vehicle"), in.text("name"), in.time("t_ns")};
    } else if (kind == "describe_flight") {
        DescribeFlight flight{.vehicle = in.text("vehicle")};
        if (object.contains("notes")) flight.notes = in.text("notes");
        if (object.contains("tags")) flight.tags = in.texts("tags");
        if (object.contains("configuration")) flight.configuration = in.text("configuration");
        flight.t_ns = in.time("t_ns");
        out = std::move(flight);
    } else if (kind == "acknowledge") {
        out = Acknowledge{in.text("key")};
    } else if (kind == "shelve") {
        out = Shelve{in.text("key"), in.number("for_s")};
    } else if (kind == "unshelve") {
        out = Unshelve{in.text("key")};
    } else if (kind == "countdown") {
        Countdown countdown{.step = in.word<CountdownStep>("step"), .zero_ns = in.time("zero_ns")};
        if (object.contains("left_s")) countdown.left_s = in.number("left_s");
        if (object.contains("reason")) countdown.reason = in.text("reason");
        if (!countdown.reason.empty() && countdown.step != CountdownStep::hold) in.refuse();
        if (countdown.zero_ns.has_value() != (countdown.step == CountdownStep::run)) in.refuse();
        out = std::move(countdown);
    } else if (kind == "operators") {
        out = OperatorChange{in.word<OperatorStep>("step"), in.number("operators")};
    } else if (kind == "link_state") {
        out = LinkReport{in.text("link"), in.word<LinkState>("state"), in.text("detail")};
    } else if (kind == "recording_state") {
        out = RecorderReport{in.text("fault"), object.contains("stopped") && in.flag("stopped")};
    } else if (kind == "backlog") {
        out = Backlog{in.number("behind_s")};
    } else if (kind == "resumed") {
        const auto t_last_ns = in.time("t_last_ns");
        if (!t_last_ns) in.refuse();
        out = Resumed{t_last_ns.value_or(0)};
    } else if (kind == "relayed") {
        out = Relayed{.link = in.text("link"),
                      .clock = in.text("clock"),
                      .sent_ns = in.needed_time("sent_ns"),
                      .heard_before_s = in.numbers("heard_before_s")};
    } else if (kind == "publishing") {
        out = PublishReport{in.text("fault")};
    } else if (kind == "engine_total") {
        out = EngineTotal{in.text("vehicle"), in.number("running_s")};
    } else if (kind == "carried_alert") {
        out = carried_alert(in);
    } else {
        out = read_checklist(kind, in);
    }
    return in.ok() ? out : std::nullopt;
}

} // namespace

std::string to_json(const Action& action) {
    return std::visit(Writer{}, action);
}

Action action_from_json(std::string_view text) {
    if (auto action = read(json::parse(text, nullptr, false))) return *std::move(action);
    return UnknownAction{std::string(text)};
}

} // namespace turnstone
