#include "server/estimate/chain/plain_motion.hpp"

#include <algorithm>
#include <cmath>

#include "server/estimate/chain/flight_report.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kPlainRow_s = 0.04;
constexpr double kPlainRunsOn_s = 10.0; ///< after the last measurement
constexpr double kAway_m = 100;
constexpr double kClimbed_m = 10;
constexpr double kWalking_mps = 2;
constexpr double kSure = 4;

bool has_left(const TranslationEstimate& e) {
    const auto beyond = [](double value, double sigma, double limit) {
        return std::abs(value) > limit + kSure * sigma;
    };
    if (e.valid_up && beyond(e.velocity_enu_mps.z(), e.velocity_sigma_mps().z(), kWalking_mps)) return true;
    if (!e.valid) return false;
    for (int axis = 0; axis < 2; ++axis)
        if (beyond(e.position_enu_m(axis), e.position_sigma_m()(axis), kAway_m) ||
            beyond(e.velocity_enu_mps(axis), e.velocity_sigma_mps()(axis), kWalking_mps))
            return true;
    return false;
}

} // namespace

PlainMotion::PlainMotion(const Vehicle& vehicle, const Site& site, bool has_pressure,
                         std::vector<TableDescription>& tables)
    : pressure_noise_pa_(std::max(0.1, vehicle.sensors.pressure_noise_pa)), pad_(site, vehicle.sensors),
      vertical_(vertical_table(), tables),
      air_(has_pressure ? std::optional<RowWriter<AirPicture>>(std::in_place, air_table(), tables) : std::nullopt) {}

void PlainMotion::pressure(const PressureSample& sample, TranslationFilter& translation, EstimateSink& sink) {
    if (!std::isfinite(sample.pressure_pa) || sample.t_ns <= t_pressure_ns_) return;
    t_pressure_ns_ = sample.t_ns;
    left_ = left_ || has_left(translation.estimate());
    pad_.pressure(sample.t_ns, sample.pressure_pa, sample.temperature_k, !left_);
    AirPicture air{.t_ns = sample.t_ns,
                   .heights = pad_.atmosphere().heights(sample.pressure_pa, pressure_noise_pa_),
                   .speeds = {kNaN, kNaN, kNaN, kNaN},
                   .altitude_sigma_m = 0};
    if (!std::isfinite(air.heights.above_pad_m)) return;
    left_ = left_ || std::abs(air.heights.above_pad_m) > kClimbed_m + kSure * air.heights.above_pad_sigma_m;
    air.altitude_sigma_m = air.heights.above_pad_sigma_m;
    translation.height(sample.t_ns, air.heights.above_pad_m, air.heights.above_pad_noise_m,
                       air.heights.above_pad_slow_m);
    if (air_) air_->write(sample.t_ns, air, sink);
}

void PlainMotion::write(std::int64_t t_ns, TranslationFilter& translation, EstimateSink& sink) {
    if (seconds_between(t_row_ns_, t_ns) < kPlainRow_s) return;
    translation.advance(t_ns);
    const TranslationEstimate e = translation.estimate();
    const VerticalEstimate row = vertical_of(e);
    if (!row.valid || !e.heard_within(kPlainRunsOn_s, t_ns)) return;
    t_row_ns_ = t_ns;
    vertical_.write(t_ns, row, sink);
}

VerticalEstimate vertical_of(const TranslationEstimate& e) {
    VerticalEstimate out;
    out.t_ns = e.t_ns;
    out.valid = e.valid_up;
    if (!e.valid_up) return out;
    out.altitude_m = e.position_enu_m.z();
    out.altitude_sigma_m = e.position_sigma_m().z();
    out.vertical_speed_mps = e.velocity_enu_mps.z();
    out.vertical_speed_sigma_mps = e.velocity_sigma_mps().z();
    out.acceleration_mps2 = e.acceleration_enu_mps2.z();
    out.acceleration_sigma_mps2 = e.acceleration_sigma_mps2().z();
    out.accel_bias_mps2 = out.accel_bias_sigma_mps2 = out.nis = out.nis_mean = kNaN;
    return out;
}

} // namespace turnstone::estimate
