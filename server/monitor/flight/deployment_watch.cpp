#include "server/monitor/flight/deployment_watch.hpp"

#include <algorithm>
#include <cctype>
#include <cmath>
#include <utility>

#include "shared/atmosphere.hpp"
#include "shared/geodesy.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

using estimate::LandingCaseKind;
using estimate::Phase;

/// From the charge to a parachute that carries: line stretch and filling. Common practice, no source.
constexpr double kFill_s = 1.0;
constexpr double kScatterSure = 4.0; ///< sigmas of a parachute's size
constexpr double kRateSure = 3.0;    ///< sigmas of the measured rate
constexpr double kContradicts = 1.0; ///< sigmas, of another source that shows a slower fall
constexpr double kGust_mps = 2.5;    ///< up and down; common practice, no source
/// Fractions of a drag area: below the first it is not there, above the second it is.
constexpr double kAbsent = 0.2, kThere = 0.75;
/// The next one on top of it would give more than this times the area.
constexpr double kMore = 1.6;
constexpr double kFills_mps2 = 3.0;                       ///< a fall that slows so much is not yet what it will be
constexpr double kWindow_s = 0.8, kWindowLongest_s = 4.0; ///< of the rate's gain
constexpr std::size_t kWindowRates = 4;
constexpr double kStale_s = 1.5;
/// How long a finding lasts before it is taken. One that goes by steady rates takes longer.
constexpr double kSettle_s = 0.3, kSettleSlow_s = 1.0;
constexpr double kFailedAfter_s = 4.0; ///< late for so long counts as failed
constexpr double kOpenedLate_s = 1.5;  ///< a first parachute behind its time by more is worth a word
constexpr double kBodyDrag = 1.0;      ///< of a body that tumbles, against its reference area: a low guess
constexpr double kHangs = 0.8;         ///< of the rate expected
constexpr double kLandingStale_s = 2.0;
constexpr double kAirStale_s = 2.0;
/// A fall with drag takes less than this times one without, and a little more.
constexpr double kDraggedFall = 1.5, kDraggedFall_s = 2.0;

double relative_rate_scatter(const RocketModel& rocket) {
    return 0.5 * std::hypot(rocket.scatter.parachute_drag_area, rocket.scatter.mass_dry);
}

} // namespace

std::string parachute_stem(const RocketModel& rocket, std::size_t parachute) {
    const auto snake = [](const std::string& name) {
        std::string out;
        for (const char letter : name) {
            const auto code = static_cast<unsigned char>(letter);
            if (std::isalnum(code) != 0)
                out += static_cast<char>(std::tolower(code));
            else if (!out.empty() && out.back() != '_')
                out += '_';
        }
        return out;
    };
    const std::string stem = snake(rocket.parachutes[parachute].name);
    const auto like = std::count_if(rocket.parachutes.begin(), rocket.parachutes.end(),
                                    [&](const Parachute& other) { return snake(other.name) == stem; });
    return stem.empty() || like > 1 ? "parachute_" + std::to_string(parachute + 1) : stem;
}

DeploymentWatch::DeploymentWatch(const Vehicle& vehicle, const Site& site)
    : gravity_mps2_(normal_gravity_mps2(site.pad.latitude_deg, site.pad.height_m)),
      pad_msl_m_(site.pad.height_m - site.geoid_height_m), rate_scatter_(0) {
    if (!vehicle.rocket || vehicle.rocket->parachutes.empty()) return;
    rocket_ = vehicle.rocket;
    rate_scatter_ = relative_rate_scatter(*rocket_);
    slack_s_ = kFill_s + 3.0 * rocket_->scatter.opening_delay_s;
    begin_flight();
}

void DeploymentWatch::begin_flight() {
    due_ns_.assign(rocket_->parachutes.size(), std::nullopt);
    rates_ = {};
    settled_ = seen_ = {};
    none_ = had_none_ = false;
    past_impact_.reset();
    figures_ = {};
    figures_.parachutes.resize(rocket_->parachutes.size());
}

double DeploymentWatch::density_kg_m3(const FlightView& view) const {
    if (view.t_air_ns != 0 && view.seconds_since(view.t_air_ns) < kAirStale_s) return view.density_kg_m3;
    return standard_atmosphere(geopotential_from_geometric_m(pad_msl_m_ + view.altitude_m.value)).density_kg_m3;
}

double DeploymentWatch::rate_under(double area_m2, double density_kg_m3) const {
    return std::sqrt(2.0 * rocket_->mass_dry_kg * gravity_mps2_ / (density_kg_m3 * area_m2));
}

/// The moments of parachutes, as they come. A height counts as passed once its 1-sigma is.
void DeploymentWatch::follow_due(const FlightView& view) {
    if (!view.descends()) return;
    for (std::size_t k = 0; k < due_ns_.size(); ++k) {
        if (due_ns_[k]) continue;
        const Parachute& parachute = rocket_->parachutes[k];
        std::optional<std::int64_t> from_ns;
        if (!parachute.opens_below_m)
            from_ns = view.apogee_ns ? view.apogee_ns : view.joined_ns;
        else if (view.altitude_m.value + view.altitude_m.sigma < *parachute.opens_below_m)
            from_ns = view.altitude_m.t_ns;
        if (from_ns) due_ns_[k] = *from_ns + seconds_to_ns(parachute.opens_after_s);
    }
}

void DeploymentWatch::follow_rate(const Figure& speed, Rates& of) const {
    std::deque<Rate>& rates = of.newest;
    if (!speed.known() || !std::isfinite(speed.sigma) || (!rates.empty() && speed.t_ns <= rates.back().t_ns)) return;
    if (!rates.empty()) {
        const double since_s = seconds_between(rates.back().t_ns, speed.t_ns);
        of.most_mps += gravity_mps2_ * since_s;
        if (since_s > kStale_s) rates.clear();
    }
    rates.push_back({speed.t_ns, -speed.value, speed.sigma});
    of.most_mps = std::min(of.most_mps, rates.back().down_mps + kRateSure * speed.sigma + kGust_mps);
    while (rates.size() > kWindowRates && seconds_between(rates.front().t_ns, speed.t_ns) > kWindow_s)
        rates.pop_front();
    while (seconds_between(rates.front().t_ns, speed.t_ns) > kWindowLongest_s) rates.pop_front();
}

/// Gain by least squares. Empty while too little is measured, or what cannot be.
std::optional<DeploymentWatch::Fall> DeploymentWatch::fall(const FlightView& view, const Rates& of) const {
    const std::deque<Rate>& rates = of.newest;
    if (rates.size() < kWindowRates || seconds_between(rates.back().t_ns, view.t_ns) > kStale_s ||
        seconds_between(rates.front().t_ns, rates.back().t_ns) < 0.5 * kWindow_s)
        return std::nullopt;
    const double n = static_cast<double>(rates.size());
    double sum_t = 0, sum_v = 0;
    for (const Rate& rate : rates) {
        sum_t += seconds_between(rates.back().t_ns, rate.t_ns);
        sum_v += rate.down_mps;
    }
    double over = 0, under = 0;
    for (const Rate& rate : rates) {
        const double t_s = seconds_between(rates.back().t_ns, rate.t_ns) - sum_t / n;
        over += t_s * (rate.down_mps - sum_v / n);
        under += t_s * t_s;
    }
    const double gain_mps2 = over / under;
    const double rate_mps = rates.back().down_mps;
    if (rate_mps > of.most_mps) return std::nullopt;
    const double mean_mps = std::max(1.0, sum_v / n); // the gain is that of the window's middle
    const double area_m2 = 2.0 * rocket_->mass_dry_kg * std::max(0.0, gravity_mps2_ - gain_mps2) /
                           (density_kg_m3(view) * mean_mps * mean_mps);
    return std::isfinite(area_m2)
               ? std::optional(Fall{rate_mps, rates.back().sigma_mps, gain_mps2, area_m2, rates.back().t_ns})
               : std::nullopt;
}

/// Of all that must carry by `t_ns`; `newest` is the last of them.
double DeploymentWatch::area_of_due(std::int64_t t_ns, std::size_t* newest) const {
    double area_m2 = 0;
    for (std::size_t k = 0; k < due_ns_.size(); ++k) {
        if (!due_ns_[k] || seconds_between(*due_ns_[k], t_ns) < slack_s_) continue;
        area_m2 += rocket_->parachutes[k].drag_area_m2;
        *newest = k;
    }
    return area_m2;
}

/// The fastest fall that an open area of this size can have.
double DeploymentWatch::allowed_mps(const FlightView& view, double area_m2) const {
    return rate_under(area_m2, density_kg_m3(view)) * (1.0 + kScatterSure * rate_scatter_) + kGust_mps;
}

/// What the best source finds, unless another shows that it cannot be.
std::optional<DeploymentWatch::Found> DeploymentWatch::find(const FlightView& view) const {
    std::optional<Found> found;
    bool judged = false;
    for (const MotionSource source : {MotionSource::navigation, MotionSource::vertical}) {
        const auto falls = fall(view, rates_[static_cast<std::size_t>(source)]);
        if (!falls) continue;
        std::size_t newest = 0;
        const double due_m2 = area_of_due(falls->t_ns, &newest);
        if (due_m2 <= 0) return Found{};
        if (falls->rate_mps + kContradicts * falls->sigma_mps < allowed_mps(view, due_m2)) return Found{};
        if (!std::exchange(judged, true)) found = find(view, *falls);
    }
    return found;
}

std::optional<DeploymentWatch::Found> DeploymentWatch::find(const FlightView& view, const Fall& fall) const {
    std::size_t newest = 0;
    const double due_m2 = area_of_due(fall.t_ns, &newest);
    if (fall.rate_mps - kRateSure * fall.sigma_mps < allowed_mps(view, due_m2) || fall.area_m2 > kThere * due_m2)
        return Found{};
    const double before_m2 = due_m2 - rocket_->parachutes[newest].drag_area_m2;
    Finding finding = Finding::partial;
    if (fall.area_m2 < kAbsent * (before_m2 > 0 ? before_m2 : due_m2))
        finding = Finding::none;
    else if (before_m2 > 0 && fall.area_m2 < kMore * before_m2)
        finding = Finding::late;
    if (finding == Finding::partial && fall.gain_mps2 < -kFills_mps2) return std::nullopt;
    return Found{finding, newest};
}

/// A finding counts once it lasts, and so does its end.
void DeploymentWatch::settle(const FlightView& view, const Found& found) {
    if (!(found == seen_)) {
        seen_ = found;
        seen_since_ns_ = view.t_ns;
    }
    const bool slow = found.finding == Finding::partial;
    if (seconds_between(seen_since_ns_, view.t_ns) >= (slow ? kSettleSlow_s : kSettle_s)) settled_ = seen_;
}

/// A first parachute that opened this much behind its time, beyond what its time may be wrong by.
std::optional<double> DeploymentWatch::opened_late_s(const FlightView& view) const {
    const bool only = rocket_->parachutes.size() == 1;
    const auto& out_ns = only ? view.main_out_ns : view.drogue_out_ns;
    const double sigma_s = only ? view.main_out_sigma_s : view.drogue_out_sigma_s;
    if (!out_ns || !due_ns_[0]) return std::nullopt;
    const double late_s = seconds_between(*due_ns_[0], *out_ns);
    const double allowed_s = kOpenedLate_s + 3.0 * std::hypot(sigma_s, rocket_->scatter.opening_delay_s);
    return late_s > allowed_s ? std::optional(late_s) : std::nullopt;
}

/// From the altitude and the speed that were measured last, without drag. NaN: they are not known.
double DeploymentWatch::free_fall_s(const FlightView& view) const {
    const double down_mps = std::max(0.0, -view.vertical_speed_mps.value);
    const double height_m = std::max(0.0, view.altitude_m.value);
    if (!view.altitude_m.known() || !view.vertical_speed_mps.known()) return kNaN;
    return (std::sqrt(down_mps * down_mps + 2.0 * gravity_mps2_ * height_m) - down_mps) / gravity_mps2_;
}

/// In silence: for longer than a fall without a parachute can have taken. Measurements decide it, no prediction: one
/// that is flown again or not would change when alerts end.
bool DeploymentWatch::must_have_hit(const FlightView& view) const {
    return view.descends() && none_ &&
           view.seconds_since(view.altitude_m.t_ns) > kDraggedFall * free_fall_s(view) + kDraggedFall_s;
}

/// By the predicted ballistic case; without one a fall without drag from what is measured.
Impact DeploymentWatch::impact(const FlightView& view) const {
    const auto& ballistic = view.landing[LandingCaseKind::no_parachute];
    if (ballistic && view.t_landing_ns != 0 && seconds_between(view.t_landing_ns, view.t_ns) < kLandingStale_s)
        return {seconds_between(view.t_ns, ballistic->at_ns), ballistic->east_m, ballistic->north_m,
                ballistic->semi_major_m};
    const double fall_s = free_fall_s(view);
    if (!std::isfinite(fall_s)) return {};
    Impact out;
    out.in_s = fall_s - seconds_between(view.altitude_m.t_ns, view.t_ns);
    if (view.place.known() && view.seconds_since(view.place.t_ns) < 3.0) {
        const double on_s = fall_s + seconds_between(view.place.t_ns, view.altitude_m.t_ns);
        out.east_m = view.place.east_m + on_s * view.place.velocity_east_mps;
        out.north_m = view.place.north_m + on_s * view.place.velocity_north_mps;
    }
    return out;
}

void DeploymentWatch::fill_figures(const FlightView& view) {
    const std::int64_t t_ns = view.t_ns;
    const double air_kg_m3 = density_kg_m3(view);
    figures_.rate_mps = view.descends() ? -view.vertical_speed_mps.value : kNaN;
    figures_.rate_sigma_mps = view.descends() ? view.vertical_speed_mps.sigma : kNaN;
    figures_.no_parachute_rate_mps = kNaN;
    if (view.descends() && view.apogee_ns && std::isfinite(air_kg_m3)) {
        // Fall from rest with quadratic drag: v = v_t tanh(g t / v_t).
        const double last_mps = rate_under(kBodyDrag * rocket_->reference_area_m2, air_kg_m3);
        const double since_s = seconds_between(*view.apogee_ns, t_ns);
        figures_.no_parachute_rate_mps = last_mps * std::tanh(gravity_mps2_ * since_s / last_mps);
    }
    const bool is_heard = view.seconds_since(view.t_received_ns) < kStale_s;
    if (!view.descends() || (!is_heard && past_impact_)) {
        figures_.impact = {};
    } else if (is_heard) {
        figures_.impact = impact(view);
        t_impact_ns_ = std::isfinite(figures_.impact.in_s) ? t_ns + seconds_to_ns(figures_.impact.in_s) : 0;
    } else {
        figures_.impact.in_s = t_impact_ns_ != 0 ? seconds_between(t_ns, t_impact_ns_) : kNaN; // the place stays
    }
    double area_m2 = 0;
    const bool one = rocket_->parachutes.size() == 1;
    for (std::size_t k = 0; k < figures_.parachutes.size(); ++k) {
        ParachuteFigures& figure = figures_.parachutes[k];
        const Parachute& parachute = rocket_->parachutes[k];
        area_m2 += parachute.drag_area_m2;
        if (std::isfinite(air_kg_m3)) {
            const double rate_mps = rate_under(area_m2, air_kg_m3);
            figure.rate_low_mps = rate_mps * (1.0 - rate_scatter_);
            figure.rate_high_mps = rate_mps * (1.0 + rate_scatter_);
        }
        figure.expected_in_s = kNaN;
        if (due_ns_[k]) {
            figure.expected_in_s = seconds_between(t_ns, *due_ns_[k]);
        } else if (!parachute.opens_below_m && view.ascent.at_ns > t_ns && view.in_flight()) {
            figure.expected_in_s = seconds_between(t_ns, view.ascent.at_ns) + parachute.opens_after_s;
        } else if (parachute.opens_below_m && view.descends() && k > 0 &&
                   figures_.parachutes[k - 1].state == ParachuteState::out) {
            // Until it hangs in the one before, its rate says little.
            const ParachuteFigures& before = figures_.parachutes[k - 1];
            const bool hangs = figures_.rate_mps > kHangs * before.rate_low_mps;
            const double rate_mps = hangs ? figures_.rate_mps : before.rate_low_mps;
            figure.expected_in_s = (view.altitude_m.value - *parachute.opens_below_m) / rate_mps -
                                   seconds_between(view.altitude_m.t_ns, t_ns) + parachute.opens_after_s;
        }
        const bool last = k + 1 == figures_.parachutes.size();
        // In a flight that was joined the phase alone says what it hangs in.
        const bool main_out = view.main_out_ns || view.phase == Phase::under_main;
        const bool drogue_out = view.drogue_out_ns || view.phase == Phase::under_drogue;
        const bool out = (drogue_out && k == 0 && !one) || (main_out && (last || k == 0));
        const bool wrong = settled_.finding != Finding::fine &&
                           (settled_.parachute == k || (settled_.finding == Finding::none && due_ns_[k]));
        if (view.phase == Phase::down || view.phase == Phase::presumed_down) continue; // as it was
        if (wrong && settled_.finding != Finding::partial)
            figure.state = none_ || -figure.expected_in_s > slack_s_ + kFailedAfter_s ? ParachuteState::failed
                                                                                      : ParachuteState::late;
        else if (out || wrong)
            figure.state = ParachuteState::out;
        else
            figure.state = due_ns_[k] && *due_ns_[k] <= t_ns ? ParachuteState::due : ParachuteState::not_due;
    }
}

void DeploymentWatch::judge(const FlightView& view, std::vector<Condition>& conditions) {
    if (!rocket_) return;
    const auto flight_ns = view.liftoff_ns ? view.liftoff_ns : view.joined_ns;
    if (flight_ns != flight_ns_) {
        flight_ns_ = flight_ns;
        begin_flight();
    }
    follow_due(view);
    if (view.descends()) {
        for (std::size_t k = 0; k < rates_.size(); ++k) follow_rate(view.speed_of_mps[k], rates_[k]);
        // While nothing is measured, what was found stays.
        if (const auto found = find(view)) settle(view, *found);
    } else if (!view.in_flight()) {
        rates_ = {};
        settled_ = seen_ = {};
    }
    const bool none_before = none_; // until this tick
    none_ = settled_.finding == Finding::none;
    had_none_ |= none_;
    const bool silent = view.seconds_since(view.t_received_ns) > kStale_s;
    if (!silent)
        past_impact_.reset();
    else if (!past_impact_ && (view.phase == Phase::presumed_down ? none_before : must_have_hit(view)))
        past_impact_ = {t_impact_ns_ != 0 ? std::min(t_impact_ns_, view.t_ns) : view.t_ns, figures_.impact.east_m,
                        figures_.impact.north_m};
    fill_figures(view);
    if (!view.descends() || past_impact_) return;

    const std::string& name = rocket_->parachutes[settled_.parachute].name;
    const double since_due_s =
        due_ns_[settled_.parachute] ? seconds_between(*due_ns_[settled_.parachute], view.t_ns) : kNaN;
    switch (settled_.finding) {
    case Finding::fine: break;
    case Finding::none:
        conditions.push_back(
            {.id = EventId::no_parachute,
             .values = {{"altitude_m", view.altitude_m.value},
                        {"altitude_sigma_m", view.altitude_m.sigma},
                        {"fall_rate_mps", figures_.rate_mps},
                        {"fall_rate_sigma_mps", figures_.rate_sigma_mps},
                        {"since_apogee_s", view.apogee_ns ? seconds_between(*view.apogee_ns, view.t_ns) : kNaN}}});
        if (silent) conditions.back().values.push_back({"silent", true});
        break;
    case Finding::late:
        conditions.push_back({.id = EventId::parachute_late,
                              .about = name,
                              .values = {{"late_s", since_due_s},
                                         {"altitude_m", view.altitude_m.value},
                                         {"fall_rate_mps", figures_.rate_mps},
                                         {"opened", false}}});
        break;
    case Finding::partial:
        conditions.push_back({.id = EventId::parachute_partial,
                              .about = name,
                              .values = {{"fall_rate_mps", figures_.rate_mps},
                                         {"fall_rate_sigma_mps", figures_.rate_sigma_mps},
                                         {"expected_mps", figures_.parachutes[settled_.parachute].rate_high_mps}}});
        break;
    }
    if (const auto late_s = opened_late_s(view); late_s && had_none_ && !none_)
        conditions.push_back({.id = EventId::parachute_late,
                              .about = rocket_->parachutes.front().name,
                              .values = {{"late_s", *late_s}, {"opened", true}}});
    const Impact& hits = figures_.impact;
    if (none_ && hits.in_s < kImpactAhead_s) {
        Condition impact_condition{.id = EventId::impact_expected,
                                   .values = {{"impact_in_s", std::max(0.0, hits.in_s)}}};
        if (silent) impact_condition.values.push_back({"silent", true});
        if (std::isfinite(hits.east_m)) {
            const Place place{.east_m = hits.east_m, .north_m = hits.north_m};
            impact_condition.values.insert(impact_condition.values.end(), {{"distance_m", place.distance_m()},
                                                                           {"bearing_deg", place.bearing_deg()},
                                                                           {"east_m", hits.east_m},
                                                                           {"north_m", hits.north_m},
                                                                           {"semi_major_m", hits.semi_major_m}});
        }
        conditions.push_back(std::move(impact_condition));
    }
}

std::optional<TableOf<DeploymentFigures>> DeploymentWatch::table(const Vehicle& vehicle) {
    if (!vehicle.rocket || vehicle.rocket->parachutes.empty()) return std::nullopt;
    using S = const DeploymentFigures&;
    constexpr const char* kGroup = "Deployment";
    TableOf<DeploymentFigures> table{"deployment", "Deployment", 0.5};
    for (std::size_t k = 0; k < vehicle.rocket->parachutes.size(); ++k) {
        const std::string stem = parachute_stem(*vehicle.rocket, k);
        const std::string& name = vehicle.rocket->parachutes[k].name;
        table
            .add({stem + "_expected_in_s", "Time to " + name, "s", kGroup, 1, "Negative once its moment is past"},
                 [k](S d) { return d.parachutes[k].expected_in_s; })
            .add({stem + "_out", "State of " + name, "1", kGroup, 0, "", enumeration<ParachuteState>()},
                 [k](S d) { return static_cast<double>(d.parachutes[k].state); })
            .add({stem + "_rate_low_mps", "Fall rate with " + name + ", low", "m/s", "", 1, "Expected, less 1-sigma"},
                 [k](S d) { return d.parachutes[k].rate_low_mps; })
            .add({stem + "_rate_high_mps", "Fall rate with " + name + ", high", "m/s", "", 1, "Expected, plus 1-sigma"},
                 [k](S d) { return d.parachutes[k].rate_high_mps; });
    }
    table.add({"rate_mps", "Fall rate", "m/s", kGroup, 1, "Measured, down positive"}, [](S d) { return d.rate_mps; })
        .sigma([](S d) { return d.rate_sigma_mps; }, 1)
        .add({"no_parachute_rate_mps", "Fall rate without a parachute", "m/s", "", 1, "Of a fall since apogee"},
             [](S d) { return d.no_parachute_rate_mps; })
        .add({"impact_in_s", "Impact without a parachute in", "s", "", 1, "If none opens from here"},
             [](S d) { return d.impact.in_s; })
        .add({"impact_east_m", "Impact east of the pad", "m", "", 0}, [](S d) { return d.impact.east_m; })
        .add({"impact_north_m", "Impact north of the pad", "m", "", 0}, [](S d) { return d.impact.north_m; })
        .add({"impact_semi_major_m", "Impact, semi-major axis", "m", "", 0, "Of the 95 % ellipse"},
             [](S d) { return d.impact.semi_major_m; });
    return table;
}

} // namespace turnstone
