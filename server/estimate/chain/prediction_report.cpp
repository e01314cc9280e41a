#include "server/estimate/chain/prediction_report.hpp"

#include <cctype>
#include <cmath>
#include <string>

#include "server/estimate/math/angles.hpp"

namespace turnstone::estimate {

namespace {

constexpr const char* kGroup = "Prediction";
constexpr double kRoundPeriod_s = 0.5;
/// Outside the boundary: probability over all cases, and of one case's landings, however rare the case.
constexpr double kRaise = 0.05, kClear = 0.02;
constexpr double kRaiseCase = 0.2, kClearCase = 0.1;
constexpr double kRareCase = 0.002; ///< less probable cases raise nothing of their own
constexpr double kEllipseProbability = 0.95;
constexpr double kWindHeights_m[] = {0.0, 300.0, 1000.0};

std::string capital(std::string_view words) {
    std::string out(words);
    out.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(out.front())));
    return out;
}

} // namespace

TableOf<PredictionFigures> ascent_table() {
    using S = const PredictionFigures&;
    TableOf<PredictionFigures> table{"ascent", "Predicted apogee", kRoundPeriod_s};
    table.add({"apogee_m", "Predicted apogee AGL", "m", kGroup, 0, "Mean"}, [](S r) { return r.prediction.apogee_m; })
        .interval("apogee_low_m", "apogee_high_m")
        .sigma([](S r) { return r.prediction.apogee_sigma_m; }, 1)
        .add({"apogee_low_m", "Apogee AGL, low", "m", kGroup, 0, "5 % of predicted flights stay below"},
             [](S r) { return r.prediction.apogee_low_m; })
        .add({"apogee_high_m", "Apogee AGL, high", "m", kGroup, 0, "5 % of predicted flights go above"},
             [](S r) { return r.prediction.apogee_high_m; })
        .add({"apogee_in_s", "Time to apogee", "s", kGroup, 1, "Mean; on the rail, from ignition"},
             [](S r) { return r.prediction.apogee_in_s; })
        .interval("apogee_in_low_s", "apogee_in_high_s")
        .add({"apogee_in_low_s", "Time to apogee, low", "s", "", 1, "5 % of predicted flights are earlier"},
             [](S r) { return r.prediction.apogee_in_low_s; })
        .add({"apogee_in_high_s", "Time to apogee, high", "s", "", 1, "5 % of predicted flights are later"},
             [](S r) { return r.prediction.apogee_in_high_s; })
        .add({"thrust_factor", "Thrust factor", "1", "", 3, "Against the vehicle file's table"},
             [](S r) { return r.thrust.value; })
        .sigma([](S r) { return r.thrust.sigma; }, 3)
        .add({"drag_factor", "Drag factor", "1", "", 3,
              "Drag per mass against the vehicle file's, from this flight's coast"},
             [](S r) { return r.drag.value; })
        .sigma([](S r) { return r.drag.sigma; }, 3);
    return table;
}

TableOf<PredictionFigures> landing_table() {
    using S = const PredictionFigures&;
    TableOf<PredictionFigures> table{"landing", "Predicted landing", kRoundPeriod_s};
    for (const LandingCaseWords& one : kLandingCases) {
        const LandingCaseKind kind = one.value;
        const auto add = [&](const char* name, const char* title, const char* unit, bool shown, int decimals,
                             const char* description, double (*value)(const CaseFigures&)) {
            table.add({std::string(one.stem) + name, capital(one.word) + ": " + title, unit,
                       shown && kind == LandingCaseKind::nominal ? kGroup : "", decimals, description},
                      [kind, value](S r) { return r.cases[kind] ? value(*r.cases[kind]) : kNaN; });
        };
        using C = const CaseFigures&;
        add(
            "_east_m", "east of the pad", "m", true, 0, "Mean landing point", [](C c) { return c.landing.mean_m.x(); });
        add(
            "_north_m", "north of the pad", "m", true, 0, "Mean landing point",
            [](C c) { return c.landing.mean_m.y(); });
        add(
            "_latitude_deg", "latitude", "deg", false, 6, "Mean landing point, WGS 84",
            [](C c) { return c.place.latitude_deg; });
        add(
            "_longitude_deg", "longitude", "deg", false, 6, "Mean landing point, WGS 84",
            [](C c) { return c.place.longitude_deg; });
        add(
            "_semi_major_m", "semi-major axis", "m", true, 0, "Of the 95 % ellipse",
            [](C c) { return c.ellipse.semi_major_m; });
        add(
            "_semi_minor_m", "semi-minor axis", "m", true, 0, "Of the 95 % ellipse",
            [](C c) { return c.ellipse.semi_minor_m; });
        add(
            "_bearing_deg", "bearing of the ellipse", "deg", false, 0, "Longer axis, clockwise from true north",
            [](C c) { return c.ellipse.bearing_deg; });
        add(
            "_in_s", "time to landing", "s", true, 0, "Mean", [](C c) { return c.landing.time_s; });
        add(
            "_outside", "outside the boundary", "{fraction}", true, 3,
            "Fraction of landings; advisory, the range safety officer decides", [](C c) { return c.landing.outside; });
        add("_probability", "probability", "{fraction}", true, 3,
            "Of the case: the vehicle file's, and what the descent shows", [](C c) { return c.landing.probability; });
    }
    table
        .add({"likeliest", "Likeliest case", "1", kGroup, 0, "Of the landing cases", enumeration<LandingCaseKind>()},
             [](S r) { return static_cast<double>(r.prediction.likeliest); })
        .add({"outside", "Landing outside the boundary", "{fraction}", kGroup, 3,
              "Probability over all cases; advisory, the range safety officer decides"},
             [](S r) { return r.prediction.outside; });
    for (std::size_t k = 0; k < 2; ++k) {
        const std::string which = k == 0 ? "first" : "second";
        table
            .add({which + "_parachute_factor", "Drag area factor, " + which + " parachute", "1", "", 3,
                  "Against the vehicle file's"},
                 [k](S r) { return r.parachutes[k].value; })
            .sigma([k](S r) { return r.parachutes[k].sigma; }, 3);
    }
    for (const double height_m : kWindHeights_m) {
        const std::string height = std::to_string(static_cast<int>(height_m));
        table
            .add({"wind_" + height + "m_mps", "Wind at " + height + " m AGL", "m/s", "Wind", 1,
                  "In use; sigma with its gusts"},
                 [height_m](S r) { return r.wind.at(height_m).norm(); })
            .sigma([height_m](S r) { return r.wind.sigma_mps(height_m); }, 1)
            .add({"wind_" + height + "m_from_deg", "Wind from, at " + height + " m AGL", "deg", "Wind", 0},
                 [height_m](S r) {
                     const Eigen::Vector2d wind = r.wind.at(height_m);
                     return bearing_deg(-wind.x(), -wind.y());
                 });
    }
    table
        .add({"terrain",
              "Ground",
              "1",
              kGroup,
              0,
              "Ground the landing prediction assumes",
              {{0, "flat"}, {1, "height grid"}}},
             [](S r) { return r.flat_ground ? 0.0 : 1.0; })
        .add({"flights", "Flights", "1", "", 0, "In each case"},
             [](S) { return static_cast<double>(Predictor::kFlights); })
        .add({"seed", "Seed", "1", "", 0, "Of the random numbers"},
             [](S) { return static_cast<double>(Predictor::kSeed); });
    return table;
}

PredictionReport::PredictionReport(const Site& site, std::vector<TableDescription>& tables)
    : frame_(site.pad), ascent_(ascent_table(), tables), landing_(landing_table(), tables) {}

void PredictionReport::write(const Prediction& prediction, const PredictionRounds& rounds, const WindProfile& wind,
                             EstimateSink& sink) {
    const FlightFit& fit = rounds.fit();
    PredictionFigures row{.prediction = prediction,
                          .thrust = fit.thrust(),
                          .drag = fit.drag(),
                          .parachutes = {fit.parachute(0), fit.parachute(1)},
                          .wind = wind,
                          .flat_ground = rounds.flat_ground(),
                          .cases = {}};
    for (const LandingCaseWords& one : kLandingCases) {
        const auto& landing = prediction.landing[one.value];
        if (!landing) continue;
        row.cases[one.value] = CaseFigures{*landing, frame_.to_geodetic({landing->mean_m.x(), landing->mean_m.y(), 0}),
                                           ellipse(landing->covariance_m2, kEllipseProbability)};
    }
    if (prediction.has_apogee) ascent_.write(prediction.t_ns, row, sink);
    if (prediction.has_landing) {
        landing_.write(prediction.t_ns, row, sink);
        announce_ground(prediction, rounds.flat_ground(), wind.unknown(), sink);
    }
    watch_boundary(prediction, sink);
}

void PredictionReport::announce_ground(const Prediction& prediction, bool flat, bool wind_unknown, EventSink& events) {
    if (ground_announced_) return;
    ground_announced_ = true;
    if (flat) events.event({.id = EventId::flat_ground, .t_ns = prediction.t_ns});
    if (wind_unknown) events.event({.id = EventId::wind_unknown, .t_ns = prediction.t_ns});
}

void PredictionReport::watch_boundary(const Prediction& prediction, EventSink& events) {
    if (!prediction.flown || !prediction.has_landing) return;
    if (const auto news = over_all_.next(prediction.outside, kRaise, kClear))
        events.event({.id = EventId::landing_outside_boundary,
                      .t_ns = prediction.t_ns,
                      .values = {{"outside", prediction.outside}},
                      .cleared = !*news});
    for (const LandingCaseWords& one : kLandingCases) {
        const auto& landing = prediction.landing[one.value];
        const bool counts = landing && landing->probability >= kRareCase;
        const double outside = counts ? landing->outside : 0.0;
        if (const auto news = by_case_[one.value].next(outside, kRaiseCase, kClearCase))
            events.event({.id = EventId::landing_case_outside,
                          .t_ns = prediction.t_ns,
                          .about = std::string(one.stem),
                          .values = {{"case", std::string(one.stem)},
                                     {"probability", counts ? landing->probability : 0.0},
                                     {"outside", outside}},
                          .cleared = !*news});
    }
}

void PredictionReport::refused(PredictionRefusal why, const PredictionStart& from, EventSink& events) {
    if (why == refused_) return;
    refused_ = why;
    events.event({.id = EventId::predictions_refused,
                  .t_ns = from.t_ns,
                  .values = {{"why", std::string(word(why))},
                             {"altitude_m", from.position_enu_m.z()},
                             {"distance_m", from.position_enu_m.head<2>().norm()},
                             {"speed_mps", from.velocity_enu_mps.norm()}},
                  .cleared = why == PredictionRefusal::none});
}

void PredictionReport::recall_outside(std::string_view case_stem, bool outside) {
    if (case_stem.empty()) over_all_.raised = outside;
    for (const LandingCaseWords& one : kLandingCases)
        if (one.stem == case_stem) by_case_[one.value].raised = outside;
}

std::optional<bool> PredictionReport::Watch::next(double value, double raise, double clear) {
    const bool clears = raised && value < clear;
    if (!clears && (raised || !(value > raise))) return std::nullopt;
    raised = !clears;
    return raised;
}

} // namespace turnstone::estimate
