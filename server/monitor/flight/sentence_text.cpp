// The words of a sentence: one place, for the screen, for speech, and for whoever translates them.
#include <cctype>
#include <cmath>
#include <optional>

#include <fmt/format.h>

#include "server/estimate/phases/phase.hpp"
#include "server/monitor/flight/sentence.hpp"

namespace turnstone {

namespace {

constexpr std::size_t kThreeLines = 100; ///< letters that a phone shows in three lines, about

class Said {
  public:
    explicit Said(const EventValues& parts) : parts_(&parts) {}
    [[nodiscard]] std::optional<double> number(std::string_view name) const { return get<double>(name); }
    [[nodiscard]] std::string text(std::string_view name) const { return get<std::string>(name).value_or(""); }
    [[nodiscard]] bool flag(std::string_view name) const { return get<bool>(name).value_or(false); }

  private:
    template <class T>
    [[nodiscard]] std::optional<T> get(std::string_view name) const {
        for (const EventValue& part : *parts_)
            if (part.name == name && std::holds_alternative<T>(part.value)) return std::get<T>(part.value);
        return std::nullopt;
    }
    const EventValues* parts_;
};

std::string with_capital(std::string words) {
    if (!words.empty()) words.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(words.front())));
    return words;
}

/// Clauses with commas between, as one sentence; nothing of nothing.
std::string clauses(std::initializer_list<std::string> all) {
    std::string out;
    for (const std::string& one : all)
        if (!one.empty()) out += (out.empty() ? "" : ", ") + one;
    return out.empty() ? out : with_capital(std::move(out)) + ".";
}

std::string sentences(std::initializer_list<std::string> all) {
    std::string out;
    for (const std::string& one : all)
        if (!one.empty()) out += (out.empty() ? "" : " ") + one;
    return out;
}

std::string altitude(const Said& said, std::string_view of = "") {
    const auto altitude_m = said.number("altitude_m");
    return altitude_m ? fmt::format("{:.0f} m{}", *altitude_m, of) : "";
}

std::string speed(const Said& said) {
    const auto up_mps = said.number("vertical_speed_mps");
    if (!up_mps || *up_mps == 0) return "";
    return fmt::format("{} {:.0f} m/s", *up_mps < 0 ? "falling" : "climbing", std::abs(*up_mps));
}

std::string place(const Said& said, std::string_view from = " from the pad") {
    const auto distance_m = said.number("distance_m");
    if (!distance_m) return "";
    const auto bearing_deg = said.number("bearing_deg");
    if (!bearing_deg) return fmt::format("within {:.0f} m of the pad", std::max(5.0, *distance_m));
    return fmt::format("{:.0f} m{} at {:.0f}°", *distance_m, from, *bearing_deg);
}

std::string in_seconds(std::optional<double> in_s) {
    if (!in_s) return "";
    return *in_s < 1 ? " now" : fmt::format(" in {:.0f} s", *in_s);
}

std::string apogee(const Said& said, std::string_view words) {
    const auto apogee_m = said.number("apogee_m");
    return apogee_m ? fmt::format("{}{:.0f} m", words, *apogee_m) : "";
}

std::string next_parachute(const Said& said) {
    const std::string name = said.text("parachute");
    if (name.empty()) return "";
    const auto in_s = said.number("parachute_in_s");
    return clauses({name + " due" + (in_s && *in_s >= 1 ? in_seconds(in_s) : "")});
}

std::string landing(const Said& said) {
    const auto in_s = said.number("landing_in_s");
    if (!in_s) return "";
    const std::string where = place(said);
    const std::string_view about = said.number("bearing_deg") ? "about " : ""; // "within" says as much
    return clauses({"down" + in_seconds(in_s), where.empty() ? "" : std::string(about) + where});
}

std::string last_seen(const Said& said) {
    const std::string where = place(said);
    return where.empty() ? "" : "Last seen " + where + ".";
}

/// "9 s", "2 min"
std::string duration(double seconds) {
    return seconds < 60 ? fmt::format("{:.0f} s", seconds) : fmt::format("{:.0f} min", seconds / 60);
}

std::string down_text(const Said& said, std::string_view head, bool brief) {
    const std::string where = place(said);
    const bool found = !where.empty() && !said.flag("last_seen");
    return sentences({clauses({std::string(head) + (found ? " " + where : "")}), found ? "" : last_seen(said),
                      said.flag("no_fix_since_liftoff") ? "No fix since liftoff." : "",
                      brief ? "" : clauses({apogee(said, "apogee ")})});
}

std::string reporting(const Said& said) {
    const auto speed_mps = said.number("speed_mps");
    const bool moves = speed_mps && *speed_mps >= 1;
    const auto engine_rpm = said.number("engine_rpm");
    const auto wind_mps = said.number("wind_mps"), from_deg = said.number("wind_from_deg");
    return sentences({"Reporting.", clauses({place(said), moves ? fmt::format("moving {:.0f} m/s", *speed_mps) : ""}),
                      clauses({engine_rpm ? fmt::format("engine at {:.0f} rev/min", *engine_rpm) : ""}),
                      clauses({wind_mps ? fmt::format("wind {:.0f} m/s", *wind_mps) +
                                              (from_deg && *wind_mps > 0 ? fmt::format(" from {:.0f}°", *from_deg) : "")
                                        : ""})});
}

std::string presumed(const Said& said, bool brief) {
    const auto hit_s = said.number("impact_ago_s"), silent_s = said.number("silent_s");
    if (!hit_s)
        return down_text(said, "presumed down" + (silent_s ? ", no signal for " + duration(*silent_s) : ""), brief);
    const std::string where = place(said);
    return sentences({clauses({"presumed down without a parachute " + duration(*hit_s) + " ago", where}),
                      brief ? "" : clauses({apogee(said, "apogee ")})});
}

std::string impact(const Said& said) {
    const auto in_s = said.number("impact_in_s");
    return in_s ? "impact" + in_seconds(in_s) : "";
}

std::string no_signal(const Said& said, bool brief) {
    const std::string silent = "no signal for " + duration(said.number("silent_s").value_or(0));
    const std::string since = clauses({silent});
    if (const auto hit_s = said.number("impact_ago_s"))
        return sentences(
            {since, clauses({"no parachute seen", "impact expected " + duration(*hit_s) + " ago", place(said, "")})});
    if (said.flag("no_parachute"))
        return sentences({"No parachute seen.", clauses({silent, impact(said), place(said, "")}), "Heads up."});
    if (brief) return since;
    const std::string last = clauses({altitude(said), speed(said), place(said)});
    if (!last.empty()) return since + " Last " + last;
    return since + (said.text("phase") == phase_key(estimate::Phase::on_rail) ? " Last on the rail." : "");
}

/// `brief`: what is to come, what was last and what was reached is left out.
std::string state(SentenceForm form, const Said& said, bool brief) {
    const auto motion = [&](std::string_view of = "") { return clauses({altitude(said, of), speed(said)}); };
    switch (form) {
    case SentenceForm::no_data: return "No data yet.";
    case SentenceForm::reporting: return reporting(said);
    case SentenceForm::on_the_rail: return "On the rail. Liftoff not seen.";
    case SentenceForm::on_the_stand: {
        const double charges = said.number("charges").value_or(0);
        return charges == 0   ? "On the stand. No charge seen."
               : charges == 1 ? "On the stand. 1 charge seen."
                              : fmt::format("On the stand. {:.0f} charges seen.", charges);
    }
    case SentenceForm::under_thrust:
        return sentences({"Under thrust.", brief ? clauses({altitude(said, " AGL")}) : motion(" AGL")});
    case SentenceForm::coasting: {
        const std::string predicted = apogee(said, "Apogee about ");
        if (predicted.empty()) return sentences({"Coasting.", motion(" AGL")});
        return "Coasting. " + predicted + in_seconds(said.number("apogee_in_s")) + ".";
    }
    case SentenceForm::falling: {
        const std::string top = apogee(said, "");
        const std::string now = altitude(said).empty() ? motion() : "Now at " + motion();
        return sentences(
            {top.empty() ? "Past apogee." : "Past apogee of " + top + ".", now, brief ? "" : next_parachute(said)});
    }
    case SentenceForm::under_drogue:
    case SentenceForm::under_main: {
        const std::string name = said.text("under");
        return sentences({"Under " + (name.empty() ? "parachute" : name) + ".", motion(),
                          brief ? "" : next_parachute(said), brief ? "" : landing(said)});
    }
    case SentenceForm::down: return down_text(said, "down", brief);
    case SentenceForm::presumed_down: return presumed(said, brief);
    case SentenceForm::no_signal: return no_signal(said, brief);
    case SentenceForm::no_parachute:
        return sentences(
            {"No parachute seen.", clauses({altitude(said), speed(said), impact(said), place(said, "")}), "Heads up."});
    }
    return "";
}

} // namespace

std::string sentence_text(const EventValues& parts) {
    const Said said(parts);
    const std::string alert = said.text("alert_text");
    const SentenceForm form = from_word<SentenceForm>(said.text("form")).value_or(SentenceForm::no_data);
    std::string state_text = state(form, said, false);
    if (!alert.empty() && alert.size() + state_text.size() > kThreeLines) state_text = state(form, said, true);
    const char last = alert.empty() ? ' ' : alert.back();
    const bool ends = last == '.' || last == '!' || last == '?';
    return sentences({alert.empty() || ends ? alert : alert + ".", state_text,
                      said.flag("liftoff_not_seen") ? "Liftoff not seen." : ""});
}

} // namespace turnstone
