#include "server/pipeline/action.hpp"

#include <charconv>
#include <cmath>

#include <nlohmann/json.hpp>

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
    static json object(const EngineTotal& engine) {
        return {{"action", "engine_total"}, {"vehicle", engine.vehicle}, {"running_s", engine.running_s}};
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

std::optional<Action> read(const json& object) {
    if (!object.is_object()) return std::nullopt;
    Members in(object);
    const std::string kind = in.text("action");
    std::optional<Action> out;
    if (kind == "marker") {
        out = Marker{in.text("text"), in.time("t_ns")};
    } else if (kind == "note") {
        out = Note{in.text("text"), in.time("t_ns")};
    } else if (kind == "link_state") {
        const auto state = from_word<LinkState>(in.text("state"));
        if (!state) in.refuse();
        out = LinkReport{in.text("link"), state.value_or(LinkState::opening), in.text("detail")};
    } else if (kind == "recording_state") {
        out = RecorderReport{in.text("fault"), object.contains("stopped") && in.flag("stopped")};
    } else if (kind == "backlog") {
        out = Backlog{in.number("behind_s")};
    } else if (kind == "resumed") {
        const auto t_last_ns = in.time("t_last_ns");
        if (!t_last_ns) in.refuse();
        out = Resumed{t_last_ns.value_or(0)};
    } else if (kind == "engine_total") {
        out = EngineTotal{in.text("vehicle"), in.number("running_s")};
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
