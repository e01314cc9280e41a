// The vehicle's file with what a flight showed.
#include <algorithm>
#include <cmath>

#include "server/analysis/ensemble/resample.hpp"
#include "server/debrief/performance/performance.hpp"

namespace turnstone::debrief {

namespace {

using nlohmann::json;

constexpr std::size_t kThrustPoints = 24;
constexpr double kOpensAfterMost_s = 60; ///< as vehicle.json has it

double to_digits(double value, int digits) {
    if (value == 0 || !std::isfinite(value)) return value;
    const double scale = std::pow(10.0, digits - 1 - static_cast<int>(std::floor(std::log10(std::abs(value)))));
    return std::round(value * scale) / scale;
}

/// Measured where there is a measurement; beyond, the file's shape carried on from the nearest one.
json drag_points(const Curve& file, const analysis::DragCurve& found) {
    const double low = found.mach.front(), high = found.mach.back();
    const double below = found.cd.front() / file.at(low), above = found.cd.back() / file.at(high);
    json points = json::array();
    const auto add = [&](double mach, double cd) { points.push_back({to_digits(mach, 3), to_digits(cd, 3)}); };
    for (std::size_t i = 0; i < file.x.size() && file.x[i] < low - 1e-3; ++i) add(file.x[i], below * file.y[i]);
    for (std::size_t i = 0; i < found.mach.size(); ++i) add(found.mach[i], found.cd[i]);
    for (std::size_t i = 0; i < file.x.size(); ++i)
        if (file.x[i] > high + 1e-3) add(file.x[i], above * file.y[i]);
    return points;
}

/// Points that keep the total impulse, from zero to zero.
json thrust_points(const analysis::ThrustCurve& found) {
    const double greatest = *std::ranges::max_element(found.thrust_n);
    std::size_t first = 0, last = found.t_s.size() - 1;
    while (first < last && found.thrust_n[first] < 0.02 * greatest) ++first;
    while (last > first && found.thrust_n[last] < 0.02 * greatest) --last;
    const double begin_s = std::max(0.0, found.t_s[first]), end_s = found.t_s[last];
    std::vector<double> t_s{0}, thrust_n{0};
    for (std::size_t i = 0; i < kThrustPoints; ++i) {
        // Closer together at the start, where thrust rises in hundredths of a second.
        const double part = std::pow(static_cast<double>(i) / (kThrustPoints - 1), 1.5);
        const std::vector<double> at{begin_s + part * (end_s - begin_s)};
        const double value = analysis::resampled(found.t_s, found.thrust_n, at, 1e9).front();
        if (!std::isfinite(value) || at.front() <= t_s.back() + 1e-3) continue;
        t_s.push_back(std::round(at.front() * 1e3) / 1e3);
        thrust_n.push_back(std::max(0.0, value));
    }
    t_s.push_back(std::round((t_s.back() + 0.02) * 1e3) / 1e3);
    thrust_n.push_back(0);
    double area = 0;
    for (std::size_t i = 1; i < t_s.size(); ++i) area += 0.5 * (thrust_n[i] + thrust_n[i - 1]) * (t_s[i] - t_s[i - 1]);
    json points = json::array();
    for (std::size_t i = 0; i < t_s.size(); ++i)
        points.push_back({t_s[i], to_digits(thrust_n[i] * found.impulse_n_s.value / area, 5)});
    return points;
}

} // namespace

json corrected_vehicle(const json& vehicle_json, const RocketModel& rocket, const Performance& found) {
    json out = vehicle_json;
    if (!out.is_object() || !out.contains("rocket") || !out["rocket"].is_object()) return out;
    json& rocket_json = out["rocket"];
    if (found.drag.why.empty()) rocket_json["drag_coefficient"] = drag_points(rocket.drag_coefficient, found.drag);
    if (found.thrust.why.empty()) rocket_json["thrust"] = thrust_points(found.thrust);
    for (std::size_t k = 0; k < found.parachutes.size(); ++k) {
        const double area_m2 = found.parachutes[k].area_m2.value;
        if (std::isfinite(area_m2)) rocket_json["parachutes"][k]["drag_area_m2"] = to_digits(area_m2, 3);
        // One that came out clearly too early, or much too late, failed: its delay is not the vehicle's.
        const analysis::Found& opening_s = found.parachutes[k].opening_s;
        if (opening_s.interval.high >= 0 && opening_s.value <= kOpensAfterMost_s)
            rocket_json["parachutes"][k]["opens"]["after_s"] = std::round(std::max(0.0, opening_s.value) * 100) / 100;
    }
    return out;
}

} // namespace turnstone::debrief
