// What was predicted, and when, against what came of it.
#include <cmath>
#include <numbers>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "server/estimate/prediction/landing_case.hpp"
#include "server/report/flight/outcome.hpp"
#include "server/report/flight/predicted_landing.hpp"
#include "server/report/page/page.hpp"
#include "server/report/page/table.hpp"
#include "server/report/text/figure.hpp"
#include "shared/time.hpp"

namespace turnstone::report {

namespace {

/// A moment at which people would have asked.
struct Moment {
    const char* word;
    std::int64_t t_ns;
};

std::vector<Moment> moments_of(const Flight& flight) {
    // Before the first movement can have told of the flight; afterwards when a round of predictions has had its time.
    constexpr std::int64_t kRoundNs = 2 * kNsPerS;
    std::vector<Moment> moments{{"on the rail", flight.liftoff_ns - kNsPerS}};
    if (flight.burnout_ns) moments.push_back({"after burnout", *flight.burnout_ns + kRoundNs});
    if (flight.apogee_ns) moments.push_back({"after apogee", *flight.apogee_ns + kRoundNs});
    if (const auto main = flight.began("under main")) moments.push_back({"under main", *main + kRoundNs});
    return moments;
}

std::string in_sigmas(double difference, double sigma) {
    return sigma > 0 ? fixed(difference / sigma, 1) + "\u00a0σ" : std::string(kNoFigure);
}

void add_apogee(const Recorded& recorded, const Flight& flight, LedgerTable& table) {
    const auto derived = recorded.row_at(recorded.table(flight.vehicle, "estimate/derived"), flight.window.to_ns - 1);
    if (!derived || !flight.apogee_ns) return;
    const double apogee_m = derived->value("altitude_max_m");
    for (const Moment& moment : moments_of(flight)) {
        if (moment.t_ns >= *flight.apogee_ns) continue;
        const auto row = recorded.row_at(recorded.table(flight.vehicle, "estimate/ascent"), moment.t_ns);
        if (!row || std::isnan(row->value("apogee_m"))) continue;
        const double sigma_m = std::hypot(row->sigma("apogee_m"), derived->sigma("altitude_max_m"));
        const double difference_m = apogee_m - row->value("apogee_m");
        table.row({Markup("Apogee AGL"), Markup::text(moment.word),
                   Markup::text(quantity(row->value("apogee_m"), row->sigma("apogee_m"), 0, "m")),
                   Markup::text(quantity(apogee_m, derived->sigma("altitude_max_m"), 0, "m")),
                   Markup::text(rounded_with_sign(difference_m, sigma_m, 0) + "\u00a0m"),
                   Markup::text(in_sigmas(difference_m, sigma_m))});
    }
}

void add_landing(const Recorded& recorded, const Flight& flight, const LandingPlace& place, LedgerTable& table) {
    for (const Moment& moment : moments_of(flight)) {
        const auto predicted = predicted_landing(recorded, flight.vehicle, moment.t_ns);
        if (!predicted) continue;
        const double east_m = place.east_m - predicted->east_m;
        const double north_m = place.north_m - predicted->north_m;
        const double miss_m = std::hypot(east_m, north_m);
        const double distance_m = std::hypot(predicted->east_m, predicted->north_m);
        LandingPlace of_prediction{predicted->east_m, predicted->north_m, 0, 0, 0, 0};
        table.row({Markup("Landing, ") + Markup::text(predicted->word), Markup::text(moment.word),
                   Markup::text(quantity(std::round(distance_m / 10) * 10, std::nan(""), 0, "m") + ", " +
                                bearing_text(5 * std::round(of_prediction.bearing_deg() / 5))),
                   Markup::text(quantity(place.distance_m(), place.distance_sigma_m(), 0, "m") + ", " +
                                bearing_text(place.bearing_deg())),
                   Markup::text(fixed(miss_m, 0) + "\u00a0m"),
                   Markup::text(predicted->reach(place.east_m, place.north_m) <= 1 ? "inside 95\u00a0%"
                                                                                   : "outside 95\u00a0%")});
    }
}

} // namespace

double PredictedLanding::reach(double at_east_m, double at_north_m) const {
    const double bearing = bearing_deg * std::numbers::pi / 180;
    const double east = at_east_m - east_m;
    const double north = at_north_m - north_m;
    const double along = east * std::sin(bearing) + north * std::cos(bearing);
    const double across = east * std::cos(bearing) - north * std::sin(bearing);
    return std::hypot(along / semi_major_m, across / semi_minor_m);
}

std::optional<PredictedLanding> predicted_landing(const Recorded& recorded, std::size_t vehicle, std::int64_t t_ns) {
    const auto row = recorded.row_at(recorded.table(vehicle, "estimate/landing"), t_ns);
    if (!row) return std::nullopt;
    const std::string likeliest = row->word_of("likeliest");
    for (const estimate::LandingCaseWords& one : estimate::kLandingCases) {
        if (one.word != likeliest) continue;
        const auto of = [&](const char* part) { return row->value(std::string(one.stem) + part); };
        const PredictedLanding found{of("_east_m"),       of("_north_m"),     of("_semi_major_m"),
                                     of("_semi_minor_m"), of("_bearing_deg"), std::string(one.word)};
        if (std::isfinite(found.east_m) && std::isfinite(found.north_m)) return found;
    }
    return std::nullopt;
}

Markup predictions_chapter(const Recorded& recorded, const Flight& flight) {
    LedgerTable table(
        {{"What"}, {"said"}, {"Predicted", true}, {"Outcome", true}, {"Difference", true}, {"Fits", true}});
    add_apogee(recorded, flight, table);
    const auto place = landing_place(recorded, flight);
    if (place && flight.touchdown_ns) add_landing(recorded, flight, *place, table);
    if (table.empty()) return {};
    return kept_chapter("Prediction against outcome",
                        table.markup() + element("p.note",
                                                 "A landing is that of the case likeliest at the moment; its 95\u00a0% "
                                                 "ellipse is the one that was shown."));
}

} // namespace turnstone::report
