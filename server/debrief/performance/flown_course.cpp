#include "server/debrief/performance/flown_course.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <string_view>

#include <Eigen/Core>

#include "server/analysis/ensemble/resample.hpp"
#include "shared/constants.hpp"
#include "shared/time.hpp"

namespace turnstone::debrief {

namespace {

constexpr double kBridged_s = 0.5;
constexpr double kFixesBridged_s = 1.5; ///< between steps of the smoothed velocity, from fix to fix
constexpr double kDriftEach_s = 3;
constexpr double kSettled = 4; ///< times the lag
/// Until a parachute is full.
constexpr double kFull_s = 3;

const SmoothedSeries* find(const std::vector<SmoothedSeries>& all, std::string_view key) {
    for (const SmoothedSeries& one : all)
        if (one.key == key) return &one;
    return nullptr;
}

std::vector<double> since_liftoff(const SmoothedSeries& series, std::int64_t liftoff_ns) {
    std::vector<double> out;
    for (const std::int64_t t_ns : series.t_ns) out.push_back(seconds_between(liftoff_ns, t_ns));
    return out;
}

/// The smoothed velocity over the ground at given times, east and north; NaN where there is none.
class Across {
  public:
    Across(const std::vector<SmoothedSeries>& smoothed, std::int64_t liftoff_ns, const std::vector<double>& at_s) {
        constexpr std::array kKeys{"velocity_east_mps", "velocity_north_mps"};
        for (std::size_t k = 0; k < kKeys.size(); ++k) {
            value_[k] = sigma_[k] = std::vector<double>(at_s.size(), analysis::kNone);
            const SmoothedSeries* series = find(smoothed, kKeys[k]);
            if (series == nullptr) continue;
            const std::vector<double> t_s = since_liftoff(*series, liftoff_ns);
            value_[k] = analysis::resampled(t_s, series->value, at_s, kFixesBridged_s);
            sigma_[k] = analysis::resampled(t_s, series->sigma, at_s, kFixesBridged_s);
        }
    }
    [[nodiscard]] Eigen::Vector2d mps(std::size_t i) const { return {value_[0][i], value_[1][i]}; }
    /// Of the worse component.
    [[nodiscard]] double sigma_mps(std::size_t i) const { return std::max(sigma_[0][i], sigma_[1][i]); }

  private:
    std::array<std::vector<double>, 2> value_, sigma_;
};

} // namespace

estimate::WindProfile wind_by_drift(const Site& site, const std::vector<SmoothedSeries>& smoothed,
                                    std::int64_t liftoff_ns, const PerformanceRecord& events) {
    estimate::WindProfile wind(site);
    const SmoothedSeries* altitude = find(smoothed, "altitude_m");
    const SmoothedSeries* up = find(smoothed, "vertical_speed_mps");
    if (altitude == nullptr || up == nullptr) return wind;
    const std::vector<double> t_s = since_liftoff(*altitude, liftoff_ns);
    const Across over_ground(smoothed, liftoff_ns, t_s);
    double out_s = kNaN, measured_s = -kInfinity;
    for (std::size_t i = 0; i < t_s.size() && !(t_s[i] >= events.touchdown_s); ++i) {
        for (const double each_s : events.parachute_out_s)
            if (each_s <= t_s[i]) out_s = std::fmax(out_s, each_s);
        const double lag_s = -up->value[i] / kGravityStandard_mps2;
        if (!(t_s[i] - out_s > kFull_s + kSettled * lag_s) || t_s[i] - measured_s < kDriftEach_s) continue;
        measured_s = t_s[i];
        wind.measure(altitude->value[i] - up->value[i] * lag_s, over_ground.mps(i),
                     std::hypot(estimate::WindProfile::kSwing_mps, over_ground.sigma_mps(i)));
    }
    return wind;
}

analysis::Course course_of(const std::vector<SmoothedSeries>& smoothed, const estimate::DayAtmosphere& day,
                           const estimate::WindProfile& wind, std::int64_t liftoff_ns, const RecordedAir& recorded) {
    analysis::Course out;
    const SmoothedSeries* altitude = find(smoothed, "altitude_m");
    const SmoothedSeries* up = find(smoothed, "vertical_speed_mps");
    if (altitude == nullptr || up == nullptr) return out;
    out.t_s = since_liftoff(*altitude, liftoff_ns);
    out.altitude_m = altitude->value;
    out.altitude_sigma_m = altitude->sigma;
    out.up_mps = up->value;
    out.up_sigma_mps = up->sigma;
    const auto at = [&](const RowsOfColumn& rows) {
        return analysis::resampled(rows.t_s, rows.value, out.t_s, kBridged_s);
    };
    const auto mach = at(recorded.mach), mach_sigma = at(recorded.mach_sigma), sound = at(recorded.speed_of_sound_mps),
               recorded_up = at(recorded.up_mps);
    out.density_kg_m3 = at(recorded.density_kg_m3);
    const Across over_ground(smoothed, liftoff_ns, out.t_s);
    for (std::size_t i = 0; i < out.t_s.size(); ++i) {
        const double height_m = out.altitude_m[i], up_mps = out.up_mps[i];
        out.density_sigma.push_back(day.scale_sigma(height_m));
        const Eigen::Vector2d across_mps = over_ground.mps(i) - wind.at(height_m);
        double speed_mps = std::hypot(up_mps, across_mps.norm());
        double sigma_mps =
            std::hypot(up_mps * std::hypot(out.up_sigma_mps[i], analysis::kAirRises_mps),
                       across_mps.norm() * std::hypot(over_ground.sigma_mps(i), wind.sigma_mps(height_m))) /
            speed_mps;
        if (!std::isfinite(sigma_mps) || wind.unknown()) {
            // Without air data's speed, all of it is vertical.
            const double across2 = std::pow(mach[i] * sound[i], 2) - std::pow(recorded_up[i], 2);
            speed_mps = across2 > 0 ? std::hypot(up_mps, std::sqrt(across2)) : std::abs(up_mps);
            sigma_mps = std::isfinite(across2) ? mach_sigma[i] * sound[i] : out.up_sigma_mps[i];
        }
        out.speed_mps.push_back(speed_mps);
        out.speed_sigma_mps.push_back(sigma_mps);
        out.mach.push_back(speed_mps / sound[i]);
    }
    return out;
}

} // namespace turnstone::debrief
