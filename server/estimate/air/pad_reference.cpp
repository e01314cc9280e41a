#include "server/estimate/air/pad_reference.hpp"

#include <algorithm>
#include <cmath>

#include "shared/constants.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kWindow_s = 3.0;
constexpr double kMean_s = 0.5;
constexpr double kMeanPeriods = 2.2; ///< two samples in each mean
constexpr double kCheckPeriod_s = 0.5;
/// Wind over the ports on the pad, and the weather between checks.
constexpr double kPadPressureSigma_pa = 4.0;
constexpr double kSitePressureSigma_pa = 30.0;
constexpr double kStandardPressureSigma_pa = 1000.0;

PadReference initial_reference(const Site& site, const SensorNoise& sensors) {
    PadReference pad;
    pad.height_msl_m = site.pad.height_m - site.geoid_height_m;
    pad.latitude_deg = site.pad.latitude_deg;
    const AirState standard = standard_atmosphere(geopotential_from_geometric_m(pad.height_msl_m));
    pad.pressure_pa = site.pad_pressure_pa.value_or(standard.pressure_pa);
    pad.pressure_sigma_pa =
        std::hypot(site.pad_pressure_pa ? kSitePressureSigma_pa : kStandardPressureSigma_pa, sensors.pressure_bias_pa);
    pad.temperature_k = site.pad_temperature_k.value_or(standard.temperature_k);
    pad.temperature_sigma_k = site.pad_temperature_k ? 1.0 : 10.0;
    if (!site.temperature.empty()) {
        pad.profile = std::make_shared<const std::vector<TemperatureLayer>>(site.temperature);
        pad.profile_sigma_k = site.forecast.temperature_k;
    }
    return pad;
}

} // namespace

PadReferenceTracker::PadReferenceTracker(const Site& site, const SensorNoise& sensors)
    : pad_(initial_reference(site, sensors)), atmosphere_(pad_), site_pressure_pa_(site.pad_pressure_pa),
      site_temperature_(site.pad_temperature_k.has_value()), disagreement_pa_(kNaN) {}

std::optional<PadReferenceTracker::Point> PadReferenceTracker::mean(std::int64_t from_ns, std::int64_t to_ns) const {
    double pressure = 0.0;
    double temperature = 0.0;
    int count = 0;
    for (std::size_t i = points_.since(from_ns); i < points_.size() && points_[i].t_ns < to_ns; ++i) {
        pressure += points_[i].pressure_pa;
        temperature += points_[i].temperature_k;
        ++count;
    }
    if (count < 2) return std::nullopt;
    return Point{from_ns, pressure / count, temperature / count};
}

void PadReferenceTracker::take(const Point& mean, double fraction) {
    pad_.pressure_pa += fraction * (mean.pressure_pa - pad_.pressure_pa);
    pad_.pressure_sigma_pa = kPadPressureSigma_pa;
    if (!site_temperature_ && mean.temperature_k > 230.0 && mean.temperature_k < 330.0) {
        pad_.temperature_k += fraction * (mean.temperature_k - pad_.temperature_k);
        pad_.temperature_sigma_k = 4.0;
    }
    atmosphere_ = DayAtmosphere(pad_);
}

bool PadReferenceTracker::pressure(std::int64_t t_ns, double pressure_pa, double temperature_k, bool quiet) {
    if (!quiet) {
        still_since_ns_ = 0;
        points_.clear();
        return false;
    }
    if (!points_.empty() && t_ns <= points_.back().t_ns) return false;
    if (!points_.empty()) {
        const double since_s = seconds_between(points_.back().t_ns, t_ns);
        period_s_ = period_s_ == 0.0 ? since_s : std::min(since_s, 1.02 * period_s_);
    }
    points_.push({t_ns, pressure_pa, temperature_k});
    if (seconds_between(t_checked_ns_, t_ns) < kCheckPeriod_s) return false;
    const double passed_s = from_vehicle_ ? seconds_between(t_checked_ns_, t_ns) : kCheckPeriod_s;
    t_checked_ns_ = t_ns;

    const double mean_s = std::max(kMean_s, kMeanPeriods * period_s_);
    const std::int64_t begin_ns = t_ns - seconds_to_ns(kWindow_s - kMean_s + mean_s);
    const auto older = mean(begin_ns, begin_ns + seconds_to_ns(mean_s));
    const auto newer = mean(t_ns - seconds_to_ns(mean_s), t_ns + 1);
    if (!older || !newer || std::fabs(older->pressure_pa - newer->pressure_pa) > kStill_pa ||
        older->pressure_pa < 30000.0 || older->pressure_pa > kPressureMax_pa) {
        still_since_ns_ = 0;
        return false;
    }
    if (still_since_ns_ == 0) still_since_ns_ = begin_ns;
    const double away_pa = std::fabs(older->pressure_pa - pad_.pressure_pa);
    if (!from_vehicle_) {
        from_vehicle_ = true;
        if (site_pressure_pa_) disagreement_pa_ = older->pressure_pa - *site_pressure_pa_;
        take(*older, 1.0);
        return away_pa > kStill_pa;
    }
    if (away_pa < kMoved_pa) {
        take(*older, std::min(1.0, passed_s / kFollow_s));
        return false;
    }
    if (seconds_between(still_since_ns_, t_ns) < kMoved_s) return false;
    take(*older, 1.0);
    return true;
}

} // namespace turnstone::estimate
