#include "server/debrief/comparison/compared_figures.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "server/analysis/ensemble/spread.hpp"

namespace turnstone::debrief {

namespace {

using nlohmann::json;

constexpr double kAbsent = std::numeric_limits<double>::quiet_NaN();
constexpr double kNsPerDay = 86'400e9;
/// What an evening's flights have of a slope by the day is their scatter, many times over.
constexpr double kTrendLeast_days = 1;

/// The figures that any flight has, in the order of key_figures().
std::vector<const Figure*> figures_of(const std::vector<ComparedFlight>& flights) {
    std::vector<const Figure*> all;
    if (flights.empty()) return all;
    for (std::size_t i = 0; i < flights.front().figures.size(); ++i)
        if (std::ranges::any_of(flights,
                                [&](const ComparedFlight& flight) { return std::isfinite(flight.figures[i].value); }))
            all.push_back(&flights.front().figures[i]);
    return all;
}

struct FigureOfFlight {
    double value = kAbsent, sigma = kAbsent;
    std::optional<PredictedFigure> predicted = {};
};

std::vector<FigureOfFlight> by_flight(const std::vector<ComparedFlight>& flights, const Figure& figure) {
    std::vector<FigureOfFlight> out;
    for (const ComparedFlight& flight : flights) {
        const auto found = std::ranges::find(flight.figures, figure.key, &Figure::key);
        if (found == flight.figures.end()) {
            out.emplace_back();
            continue;
        }
        const auto place = static_cast<std::size_t>(found - flight.figures.begin());
        out.push_back({found->value, found->sigma, flight.predicted[place]});
    }
    return out;
}

std::vector<double> values_of(const std::vector<FigureOfFlight>& figures) {
    std::vector<double> out;
    for (const FigureOfFlight& figure : figures) out.push_back(figure.value);
    return out;
}

json of(const analysis::Interval& interval) {
    return {interval.low, interval.high};
}

/// North breaks every sum of bearings.
bool is_bearing(const Figure& figure) {
    return figure.unit == "deg";
}

/// Null by flight where nothing was predicted.
json predictions_of(const std::vector<FigureOfFlight>& figures) {
    json out = json::array();
    for (const FigureOfFlight& figure : figures) {
        if (!figure.predicted) {
            out.push_back(nullptr);
            continue;
        }
        const double both = std::hypot(figure.predicted->sigma, std::isfinite(figure.sigma) ? figure.sigma : 0.0);
        out.push_back({{"value", figure.predicted->value},
                       {"sigma", figure.predicted->sigma},
                       {"minus", figure.value - figure.predicted->value},
                       {"minus_sigma", both}});
    }
    return out;
}

} // namespace

json figures_json(const std::vector<ComparedFlight>& flights) {
    json out = json::array();
    for (const Figure* figure : figures_of(flights)) {
        const std::vector<FigureOfFlight> each = by_flight(flights, *figure);
        const analysis::FigureSpread spread =
            is_bearing(*figure) ? analysis::FigureSpread{} : analysis::spread_of(values_of(each));
        json values = json::array(), outliers = json::array();
        for (const FigureOfFlight& one : each) values.push_back({{"value", one.value}, {"sigma", one.sigma}});
        for (const analysis::Outlier& outlier : spread.outliers)
            outliers.push_back({{"flight", outlier.index},
                                {"test", outlier.test},
                                {"statistic", outlier.statistic},
                                {"critical", outlier.critical}});
        out.push_back({{"key", figure->key},
                       {"title", figure->title},
                       {"unit", figure->unit},
                       {"values", std::move(values)},
                       {"predictions", predictions_of(each)},
                       {"n", spread.sample.count},
                       {"mean", spread.sample.mean},
                       {"sd", spread.sample.sd},
                       {"interval", of(spread.interval)},
                       {"relative_spread", spread.relative_spread},
                       {"outliers", std::move(outliers)}});
    }
    return out;
}

json trend_json(const std::vector<ComparedFlight>& flights) {
    json out = json::array();
    if (flights.empty()) return out;
    std::vector<double> days;
    for (const ComparedFlight& flight : flights)
        days.push_back(static_cast<double>(flight.utc_liftoff_ns - flights.front().utc_liftoff_ns) / kNsPerDay);
    const auto [first, last] = std::ranges::minmax(days);
    if (last - first < kTrendLeast_days) return out;
    for (const Figure* figure : figures_of(flights)) {
        if (is_bearing(*figure)) continue;
        const analysis::Trend trend = analysis::trend_of(days, values_of(by_flight(flights, *figure)));
        if (std::isnan(trend.slope_error)) continue;
        out.push_back({{"key", figure->key},
                       {"slope_per_day", trend.slope},
                       {"slope_error", trend.slope_error},
                       {"interval", of(trend.slope_interval)},
                       {"n", trend.count}});
    }
    return out;
}

} // namespace turnstone::debrief
