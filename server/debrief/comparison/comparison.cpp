#include "server/debrief/comparison/comparison.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>
#include <utility>

#include "server/analysis/ensemble/ensemble.hpp"
#include "server/analysis/ensemble/resample.hpp"
#include "server/debrief/comparison/compared_figures.hpp"
#include "server/debrief/comparison/vehicle_changes.hpp"
#include "shared/time.hpp"

namespace turnstone::debrief {

namespace {

using nlohmann::json;
using Values = std::vector<double>;

/// Of a chart some thousand pixels wide.
constexpr std::size_t kTimes = 1200;
constexpr double kLeastStep_s = 0.02;
/// Digits behind those that are shown: for differences.
constexpr int kDigitsMore = 2;

json rounded(Values values, int decimals) {
    const double scale = std::pow(10.0, decimals + kDigitsMore);
    for (double& value : values) value = std::round(value * scale) / scale;
    return values;
}

std::string letter(std::size_t place) {
    std::string out(1, static_cast<char>('A' + place % 26));
    return place < 26 ? out : static_cast<char>('A' + place / 26 - 1) + out;
}

double aligned_at_s(const ComparedFlight& flight, Alignment align) {
    return flight.moments_s[static_cast<std::size_t>(align)].value_or(std::numeric_limits<double>::quiet_NaN());
}

std::vector<double> shifted(std::vector<double> t_s, double by_s) {
    for (double& t : t_s) t -= by_s;
    return t_s;
}

json course_json(const std::optional<PredictedCourse>& by_files, Alignment align, const Values& base_s,
                 std::string_view key, int decimals) {
    if (!by_files) return nullptr;
    const PredictedCourse& course = *by_files;
    const Values* value = key == "altitude_m"           ? &course.altitude_m
                          : key == "vertical_speed_mps" ? &course.vertical_speed_mps
                                                        : nullptr;
    const Values* sigma = key == "altitude_m" ? &course.altitude_sigma_m : &course.vertical_speed_sigma_mps;
    if (value == nullptr) return nullptr;
    double at_s = 0;
    switch (align) {
    case Alignment::liftoff: break;
    case Alignment::burnout: at_s = course.burnout_s; break;
    case Alignment::apogee: at_s = course.apogee_s; break;
    case Alignment::drogue_out:
        if (!course.drogue_out_s) return nullptr;
        at_s = *course.drogue_out_s;
        break;
    }
    constexpr double kWhole_s = 1e9; // it has no gaps
    const Values t_s = shifted(course.t_s, at_s);
    return {{"value", rounded(analysis::resampled(t_s, *value, base_s, kWhole_s), decimals)},
            {"sigma", rounded(analysis::resampled(t_s, *sigma, base_s, kWhole_s), decimals)}};
}

/// Null when no flight has it.
json series_json(const std::vector<ComparedFlight>& flights, std::size_t which, Alignment align, const Values& base_s,
                 const CoursesByFiles& courses) {
    const auto has = [&](const ComparedFlight& flight) { return !flight.series[which].t_s.empty(); };
    const auto first = std::ranges::find_if(flights, has);
    if (first == flights.end()) return nullptr;
    const ComparedSeries& about = first->series[which];
    const int decimals = about.decimals;
    std::vector<Values> values;
    json each = json::array();
    for (const ComparedFlight& flight : flights) {
        const ComparedSeries& series = flight.series[which];
        const Values t_s = shifted(series.t_s, aligned_at_s(flight, align));
        values.push_back(analysis::resampled(t_s, series.value, base_s, series.bridged_s));
        each.push_back(
            {{"value", rounded(values.back(), decimals)},
             {"sigma", rounded(analysis::resampled(t_s, series.sigma, base_s, series.bridged_s), decimals)}});
    }
    const analysis::Ensemble ensemble = analysis::ensemble_of(values);
    json differences = json::array();
    for (Values& difference : analysis::minus_first(values))
        differences.push_back(rounded(std::move(difference), decimals));
    const char* key = kComparedColumns[which].column;
    return {{"key", key},
            {"title", about.title},
            {"unit", about.unit},
            {"t_s", base_s},
            {"flights", std::move(each)},
            {"mean", rounded(ensemble.mean, decimals)},
            {"sd", rounded(ensemble.sd, decimals)},
            {"interval", {rounded(ensemble.low, decimals), rounded(ensemble.high, decimals)}},
            {"minus_first", std::move(differences)},
            {"prediction", course_json(courses.predicted, align, base_s, key, decimals)},
            {"simulated", course_json(courses.simulated, align, base_s, key, decimals)}};
}

json changes_json(const std::vector<ComparedFlight>& flights) {
    json out = json::array();
    for (std::size_t i = 0; i + 1 < flights.size(); ++i) {
        if (flights[i].vehicle.is_null() || flights[i + 1].vehicle.is_null()) continue;
        json changes = json::array();
        for (const VehicleChange& change : vehicle_changes(flights[i].vehicle, flights[i + 1].vehicle))
            changes.push_back({{"pointer", change.pointer}, {"before", change.before}, {"after", change.after}});
        out.push_back({{"from", i}, {"to", i + 1}, {"changes", std::move(changes)}});
    }
    return out;
}

} // namespace

Result<json> comparison_of(const std::vector<ComparedFlight>& flights, Alignment align, const CoursesByFiles& courses,
                           const Advance& advance) {
    double from_s = std::numeric_limits<double>::infinity(), to_s = -from_s;
    json heads = json::array();
    for (const ComparedFlight& flight : flights) {
        const double at_s = aligned_at_s(flight, align);
        if (std::isnan(at_s)) {
            std::string moment(word(align));
            std::ranges::replace(moment, '_', ' ');
            return fail(letter(heads.size()) + " (" + flight.name + ") has no " + moment +
                        "; align at another moment, or leave that flight out");
        }
        from_s = std::min(from_s, flight.from_s - at_s);
        to_s = std::max(to_s, flight.to_s - at_s);
        heads.push_back({{"id", flight.id},
                         {"name", flight.name},
                         {"letter", letter(heads.size())},
                         {"aligned_utc_ns", std::to_string(flight.utc_liftoff_ns + seconds_to_ns(at_s))}});
    }
    const Values base_s = analysis::time_base(from_s, to_s, kLeastStep_s, kTimes);
    json series = json::array();
    for (std::size_t i = 0; i < kComparedColumns.size(); ++i) {
        if (!advance(0.7 + 0.3 * static_cast<double>(i) / static_cast<double>(kComparedColumns.size())))
            return stopped();
        if (json one = series_json(flights, i, align, base_s, courses); !one.is_null())
            series.push_back(std::move(one));
    }
    return json{{"flights", std::move(heads)},
                {"series", std::move(series)},
                {"figures", figures_json(flights)},
                {"trend", trend_json(flights)},
                {"changes", changes_json(flights)}};
}

Result<json> compare(const Recordings& recordings, const CompareRequest& request, const Advance& advance) {
    std::vector<ComparedFlight> flights;
    CoursesByFiles courses;
    for (const std::string& id : request.flights) {
        if (!advance(0.7 * static_cast<double>(flights.size()) / static_cast<double>(request.flights.size())))
            return stopped();
        const auto opened = open_flight(recordings, id);
        if (!opened) return tl::unexpected(opened.error());
        if (flights.empty() && request.prediction) courses = {predicted_course(**opened), simulated_course(**opened)};
        flights.push_back(compared_flight(**opened));
    }
    return comparison_of(flights, request.align, courses, advance);
}

Result<json> compare_job(const Recordings& recordings, const json& request, const Advance& advance) {
    const auto parsed = parse_compare_request(request);
    if (!parsed) return tl::unexpected(parsed.error());
    return compare(recordings, *parsed, advance);
}

} // namespace turnstone::debrief
