#include "server/monitor/flight/sentence.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <string_view>
#include <utility>

#include "shared/time.hpp"

namespace turnstone {

namespace {

using estimate::Phase;

constexpr double kSilentInFlight_s = 3.0, kSilentAtRest_s = 5.0;
constexpr double kLies_deg = 45.0; ///< from the vertical
constexpr double kPredictionStale_s = 3.0;
constexpr double kAtPad_m = 5.0; ///< so near, a bearing says nothing
constexpr double kFoundSure_m = 5.0;
constexpr double kLeavesPad_s = 2.0; ///< a receiver's newest fix at liftoff comes as late as this
/// Of a rounding step: by how much a figure has to leave what was said. Less than a half would never settle.
constexpr double kHeldFor = 0.8;

/// Longer ones more coarsely: nobody counts them along.
double coarse_s(double seconds) {
    return seconds < 10 ? seconds : seconds < 60 ? 5 * std::floor(seconds / 5) : 60 * std::floor(seconds / 60);
}

/// The decade of a 1-sigma, at least `least`.
double step_of(double sigma, double least) {
    return sigma > least ? std::max(least, std::pow(10.0, std::floor(std::log10(sigma)))) : least;
}

/// Of an alert that would leave no room beside it: up to its last break that does. Behind what only names its subject
/// ("Recording: ", "Link radio: ") is none.
std::string head_of(std::string_view text) {
    constexpr std::size_t kMost = 70, kSubjectMost = 30; ///< letters
    std::size_t end = 0;
    if (text.size() > kMost)
        for (const std::string_view mark : {". ", "; ", ", ", ": ", " ("})
            if (const auto at = text.rfind(mark, kMost); at != std::string_view::npos) end = std::max(end, at);
    const std::string_view head = text.substr(0, end);
    return std::string(end > kSubjectMost || head.find(": ") != std::string_view::npos ? head : text);
}

/// Until just after liftoff it is the pad, and says nothing of where a flight went.
bool is_place_of_flight(const FlightView& view) {
    return view.place.known() &&
           !(view.liftoff_ns && seconds_between(*view.liftoff_ns, view.place.t_ns) < kLeavesPad_s);
}

/// The alert says what the whole sentence then says.
bool warns_of_fall(const FlightView& view, const Event* alert) {
    return alert != nullptr && (alert->id == EventId::no_parachute || alert->id == EventId::impact_expected) &&
           view.descends();
}

} // namespace

/// The parts of a sentence in the making, beside those that were said before.
class Sentence::Parts {
  public:
    /// `parts` is filled again, in the memory that it has.
    Parts(SentenceForm form, const EventValues& said, EventValues& parts) : said_(&said), parts_(parts) {
        parts_.clear();
        parts_.push_back({"form", std::string(word(form))});
        same_form_ = !said.empty() && said.front() == parts_.front();
    }
    void text(std::string name, std::string value) {
        if (!value.empty()) parts_.push_back({std::move(name), std::move(value)});
    }
    void flag(std::string name) { parts_.push_back({std::move(name), true}); }
    /// Rounded to `step`, or what was said before, where that still holds. NaN is left out.
    void number(std::string name, double value, double step) {
        if (!std::isfinite(value)) return;
        double rounded = step * std::round(value / step);
        if (rounded == 0) rounded = 0; // no minus
        if (same_form_)
            for (const EventValue& before : *said_)
                if (before.name == name && std::holds_alternative<double>(before.value)) {
                    const double held = std::get<double>(before.value);
                    if (std::abs(value - held) < kHeldFor * step && std::remainder(held, step) == 0) rounded = held;
                }
        parts_.push_back({std::move(name), rounded});
    }
    /// A countdown does not hold on to what was said.
    void seconds(std::string name, double value_s) {
        if (std::isfinite(value_s)) parts_.push_back({std::move(name), std::max(0.0, std::round(value_s))});
    }
    /// From the pad.
    void place(const Place& place, bool found) {
        const double step_m = found ? step_of(place.sigma_m, 1.0) : step_of(place.sigma_m, 10.0);
        const double distance_m = place.distance_m();
        const bool has_bearing = distance_m > std::max(kAtPad_m, 2.0 * place.sigma_m);
        // Without one it lies within the distance, which has to hold.
        number("distance_m", has_bearing ? distance_m : std::fmax(distance_m, 2.0 * place.sigma_m), step_m);
        if (!has_bearing) return;
        const double step_deg = found ? 1.0 : 5.0;
        number("bearing_deg", place.bearing_deg(), step_deg);
        double& bearing = std::get<double>(parts_.back().value);
        if (bearing >= 360.0) bearing -= 360.0;
    }
    /// Of a fall without a parachute, ahead or past.
    void impact_place(double east_m, double north_m) {
        if (std::isfinite(east_m)) place({.east_m = east_m, .north_m = north_m}, false);
    }

  private:
    const EventValues* said_;
    bool same_form_ = false;
    EventValues& parts_;
};

Sentence::Sentence(const Vehicle& vehicle) {
    if (!vehicle.rocket) return;
    for (const Parachute& parachute : vehicle.rocket->parachutes) parachutes_.push_back(parachute.name);
}

SentenceForm Sentence::form_of(const FlightView& view, const Event* alert) const {
    using enum SentenceForm;
    if (view.t_received_ns == 0) return no_data;
    const double silent_s = view.seconds_since(view.t_received_ns);
    const bool over = view.phase == Phase::down || view.phase == Phase::presumed_down;
    if (!(view.flies && over) && silent_s > (view.in_flight() ? kSilentInFlight_s : kSilentAtRest_s)) return no_signal;
    if (!view.flies) return reporting;
    if (warns_of_fall(view, alert)) return no_parachute;
    switch (view.phase) {
    case Phase::on_rail: return view.tilt_deg > kLies_deg ? on_the_stand : on_the_rail;
    case Phase::under_thrust: return under_thrust;
    case Phase::coasting: return coasting;
    case Phase::falling: return falling;
    case Phase::under_drogue: return under_drogue;
    case Phase::under_main: return under_main;
    case Phase::down: return down;
    case Phase::presumed_down: return presumed_down;
    }
    return reporting;
}

/// Altitude and vertical speed, as measured last. Nothing stands below the ground.
void Sentence::say_motion(const FlightView& view, Parts& parts) const {
    parts.number("altitude_m", std::max(0.0, view.altitude_m.value), step_of(view.altitude_m.sigma, 1.0));
    parts.number("vertical_speed_mps", view.vertical_speed_mps.value, step_of(view.vertical_speed_mps.sigma, 1.0));
}

void Sentence::say_next_parachute(const DeploymentFigures& figures, Parts& parts) const {
    for (std::size_t k = 0; k < figures.parachutes.size(); ++k) {
        const ParachuteFigures& next = figures.parachutes[k];
        const bool awaited = next.state == ParachuteState::not_due || next.state == ParachuteState::due;
        if (!awaited || !std::isfinite(next.expected_in_s)) continue;
        parts.text("parachute", parachutes_[k]);
        parts.seconds("parachute_in_s", next.expected_in_s);
        return;
    }
}

void Sentence::say_state(const FlightView& view, const DeploymentWatch& deployment, Parts& parts) const {
    const DeploymentFigures& figures = deployment.figures();
    const auto say_apogee = [&] {
        if (view.apogee_ns) parts.number("apogee_m", view.apogee_m.value, step_of(view.apogee_m.sigma, 1.0));
    };
    switch (view.phase) {
    case Phase::on_rail:
        if (view.charges_at_rest > 0) parts.number("charges", view.charges_at_rest, 1.0);
        return;
    case Phase::under_thrust: say_motion(view, parts); break;
    case Phase::coasting: {
        const ApogeePrediction& ascent = view.ascent;
        const bool predicted = ascent.apogee_m.known() && view.liftoff_ns && ascent.apogee_m.t_ns > *view.liftoff_ns &&
                               view.seconds_since(ascent.apogee_m.t_ns) < kPredictionStale_s;
        if (!predicted) {
            say_motion(view, parts);
            break;
        }
        parts.number("apogee_m", ascent.apogee_m.value, step_of(ascent.apogee_m.sigma, 1.0));
        parts.seconds("apogee_in_s", seconds_between(view.t_ns, ascent.at_ns));
        break;
    }
    case Phase::falling:
        say_apogee();
        say_motion(view, parts);
        say_next_parachute(figures, parts);
        break;
    case Phase::under_drogue:
    case Phase::under_main: {
        if (!parachutes_.empty())
            parts.text("under", view.phase == Phase::under_drogue ? parachutes_.front() : parachutes_.back());
        say_motion(view, parts);
        if (view.phase == Phase::under_drogue) say_next_parachute(figures, parts);
        const auto& landing = view.landing[view.likeliest];
        if (view.phase == Phase::under_main && landing && view.seconds_since(view.t_landing_ns) < kPredictionStale_s) {
            parts.seconds("landing_in_s", seconds_between(view.t_ns, landing->at_ns));
            parts.place(
                {.east_m = landing->east_m, .north_m = landing->north_m, .sigma_m = landing->semi_major_m / 2.45},
                false);
        }
        break;
    }
    case Phase::down:
    case Phase::presumed_down: {
        if (view.phase == Phase::presumed_down && say_past_impact(view, deployment, parts)) {
            say_apogee();
            break;
        }
        const double silent_s = view.seconds_since(view.t_received_ns);
        if (view.phase == Phase::presumed_down && silent_s > kSilentInFlight_s)
            parts.seconds("silent_s", coarse_s(silent_s));
        const Place& place = view.place;
        const bool found = view.phase == Phase::down && view.touchdown_ns && place.t_ns >= *view.touchdown_ns &&
                           place.sigma_m < kFoundSure_m;
        if (is_place_of_flight(view))
            parts.place(place, found);
        else if (place.known())
            parts.flag("no_fix_since_liftoff");
        if (is_place_of_flight(view) && !found) parts.flag("last_seen");
        say_apogee();
        break;
    }
    }
    if (view.joined_ns && !view.liftoff_ns) parts.flag("liftoff_not_seen");
}

/// False: there is none.
bool Sentence::say_past_impact(const FlightView& view, const DeploymentWatch& deployment, Parts& parts) const {
    const auto& impact = deployment.past_impact();
    if (!impact) return false;
    parts.flag("no_parachute");
    parts.seconds("impact_ago_s", coarse_s(seconds_between(impact->t_ns, view.t_ns)));
    parts.impact_place(impact->east_m, impact->north_m);
    return true;
}

void Sentence::recall(const Event& said) {
    said_ = said.values;
    said_text_ = said.text;
    level_ = said.level;
    t_made_ns_ = said.t_ns;
    for (const EventValue& part : said.values)
        if (const auto* text = std::get_if<std::string>(&part.value); part.name == "form" && text != nullptr)
            form_ = from_word<SentenceForm>(*text).value_or(form_);
}

std::optional<EstimateEvent> Sentence::next(const FlightView& view, const DeploymentWatch& deployment,
                                            const Event* alert) {
    if (alert != nullptr && alert->level < Level::caution) alert = nullptr;
    const SentenceForm form = form_of(view, alert);
    const Level level = alert != nullptr ? alert->level : Level::note;
    const std::string_view led_by = alert != nullptr ? std::string_view(alert->key) : std::string_view();
    const bool another = t_made_ns_ == 0 || form != form_ || level != level_ || led_by != led_by_;
    const bool fast = std::abs(view.vertical_speed_mps.value) > kFast_mps;
    if (!another && seconds_between(t_made_ns_, view.t_ns) < (fast ? kPeriodFast_s : kPeriod_s)) return std::nullopt;
    form_ = form;
    level_ = level;
    led_by_ = led_by;
    t_made_ns_ = view.t_ns;
    Parts parts(form, said_, made_);
    const bool falls_unbraked = warns_of_fall(view, alert);
    const auto say_impact = [&] {
        const Impact& impact = deployment.figures().impact;
        parts.seconds("impact_in_s", impact.in_s);
        parts.impact_place(impact.east_m, impact.north_m);
    };
    switch (form) {
    case SentenceForm::no_data: break;
    case SentenceForm::reporting:
        if (view.place.known()) {
            parts.place(view.place, true);
            parts.number("speed_mps", std::hypot(view.place.velocity_east_mps, view.place.velocity_north_mps), 1.0);
        }
        parts.number("engine_rpm", view.engine_rpm, 100.0);
        parts.number("wind_mps", view.wind_mps, 1.0);
        parts.number("wind_from_deg", std::fmod(view.wind_from_deg, 360.0), 10.0);
        break;
    case SentenceForm::no_signal: {
        const double silent_s = view.seconds_since(view.t_received_ns);
        parts.seconds("silent_s", coarse_s(silent_s));
        if (!view.flies) break;
        parts.text("phase", std::string(estimate::phase_key(view.phase)));
        if (say_past_impact(view, deployment, parts)) break;
        if (falls_unbraked) {
            parts.flag("no_parachute");
            say_impact();
            break;
        }
        if (view.in_flight()) say_motion(view, parts);
        if (view.in_flight() && is_place_of_flight(view)) parts.place(view.place, false);
        break;
    }
    case SentenceForm::no_parachute: {
        say_motion(view, parts);
        say_impact();
        break;
    }
    default: say_state(view, deployment, parts);
    }
    if (alert != nullptr) {
        parts.text("alert", alert->key);
        if (!falls_unbraked) parts.text("alert_text", head_of(alert->text));
    }
    if (!another && made_ == said_) return std::nullopt;
    said_ = made_;
    std::string text = sentence_text(said_);
    if (!another && text == said_text_) return std::nullopt;
    said_text_ = text;
    return EstimateEvent{
        .id = EventId::sentence, .t_ns = view.t_ns, .values = said_, .level = level, .text = std::move(text)};
}

} // namespace turnstone
