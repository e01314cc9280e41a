#include "server/analysis/performance/descent.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

namespace turnstone::analysis {

namespace {

constexpr double kPart_s = 4;
constexpr std::size_t kPartsLeast = 3;
/// Of swinging (common practice, no source).
constexpr double kFloor = 0.01;
constexpr double kEddy_m = 100; ///< in a longer descent the air's rises and falls make up for each other
/// Heights a part apart share the day's air; of each height's sigma this is its own.
constexpr double kOwnShare = 0.7;

} // namespace

DragArea drag_area(const Course& course, double from_s, double to_s, double gravity_mps2, const Masses& masses) {
    DragArea out;
    std::vector<double> parts; // of sqrt(rho) |v|, means
    double sum = 0, time_s = 0, began_s = from_s;
    double all = 0, all_s = 0, air = 0;
    double first_m = kNone, last_m = kNone, first_sigma_m = 0, last_sigma_m = 0;
    for (std::size_t i = 1; i < course.t_s.size(); ++i) {
        if (course.t_s[i - 1] < from_s || course.t_s[i] > to_s) continue;
        const double step_s = course.t_s[i] - course.t_s[i - 1];
        const double fallen_m = course.altitude_m[i - 1] - course.altitude_m[i];
        const double root = std::sqrt(0.5 * (course.density_kg_m3[i] + course.density_kg_m3[i - 1]));
        if (!std::isfinite(root * fallen_m)) continue;
        if (std::isnan(first_m)) {
            first_m = course.altitude_m[i - 1];
            first_sigma_m = course.altitude_sigma_m[i - 1];
        }
        last_m = course.altitude_m[i];
        last_sigma_m = course.altitude_sigma_m[i];
        sum += root * fallen_m;
        time_s += step_s;
        all += root * fallen_m;
        all_s += step_s;
        air += course.density_sigma[i] * step_s;
        if (course.t_s[i] - began_s < kPart_s) continue;
        parts.push_back(sum / time_s);
        sum = time_s = 0;
        began_s = course.t_s[i];
    }
    if (parts.size() < kPartsLeast || !(all > 0)) {
        out.why = "the descent is too short";
        return out;
    }
    const Summary scatter = summarise(parts);
    const double mean = all / all_s;
    const double by_scatter = scatter.standard_error() / mean;
    const double by_height = kOwnShare * std::hypot(first_sigma_m, last_sigma_m) / (first_m - last_m);
    out.rate_mps = (first_m - last_m) / all_s;
    out.area_m2 = 2 * masses.dry_kg * gravity_mps2 / (mean * mean);
    out.common = std::hypot(masses.dry_sigma_kg / masses.dry_kg, air / all_s);
    const double air_mps = kAirRises_mps * std::sqrt(std::min(1.0, kEddy_m / (first_m - last_m)));
    out.own = std::hypot(2 * by_height, std::hypot(2 * by_scatter, kFloor), 2 * air_mps / out.rate_mps);
    return out;
}

} // namespace turnstone::analysis
