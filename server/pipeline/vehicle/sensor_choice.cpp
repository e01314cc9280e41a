#include "server/pipeline/vehicle/sensor_choice.hpp"

#include <algorithm>
#include <cmath>

#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr double kNearRange = 0.9;
constexpr double kNearFor_s = 0.25;
constexpr double kSilent_s = 0.5;
constexpr double kPressureLowest_pa = 1000;
constexpr double kPressureHighest_pa = 120000;
/// A working barometer's last digit moves within this time.
constexpr double kFrozen_s = 2;
constexpr double kBarometerSilent_s = 1.5;
constexpr double kErrorsMeanOf = 500;

} // namespace

AccelerometerChoice::AccelerometerChoice(const std::array<double, 2>& range_mps2)
    : low_(range_mps2[1] < range_mps2[0] ? 1 : 0), near_range_mps2_(kNearRange * range_mps2[low_]) {}

bool AccelerometerChoice::use(std::size_t sensor, std::int64_t t_ns, const Eigen::Vector3d& accel_body_mps2) noexcept {
    t_heard_ns_[sensor] = std::max(t_heard_ns_[sensor], t_ns);
    const auto heard = [&](std::size_t which) { return seconds_between(t_heard_ns_[which], t_ns) < kSilent_s; };
    if (sensor == low_ && accel_body_mps2.cwiseAbs().maxCoeff() >= near_range_mps2_) t_near_ns_ = t_ns;
    const bool near = t_near_ns_ != 0 && std::abs(seconds_between(t_near_ns_, t_ns)) < kNearFor_s;
    const bool use = sensor == low_ ? !(near && heard(1 - low_)) : near || !heard(low_);
    if (!use || t_ns <= t_used_ns_) return false;
    t_used_ns_ = t_ns;
    return true;
}

bool BarometerChoice::Barometer::healthy(std::int64_t t_ns) const noexcept {
    return t_heard_ns != 0 && seconds_between(t_heard_ns, t_ns) < kBarometerSilent_s &&
           seconds_between(t_changed_ns, t_ns) < kFrozen_s && t_possible_ns == t_heard_ns;
}

double BarometerChoice::use(std::size_t sensor, std::int64_t t_ns, double pressure_pa) noexcept {
    if (!std::isfinite(pressure_pa)) return kNaN;
    Barometer& own = barometers_[sensor];
    const Barometer& other = barometers_[1 - sensor];
    if (pressure_pa != own.pressure_pa) own.t_changed_ns = t_ns;
    own.pressure_pa = pressure_pa;
    own.t_heard_ns = t_ns;
    if (pressure_pa >= kPressureLowest_pa && pressure_pa <= kPressureHighest_pa) own.t_possible_ns = t_ns;
    if (sensor == 0) return own.healthy(t_ns) || !other.healthy(t_ns) ? pressure_pa : kNaN;
    if (!own.healthy(t_ns)) return kNaN;
    if (other.healthy(t_ns)) {
        if (other.t_changed_ns != other.t_heard_ns) return kNaN; // it may be about to freeze
        differences_ = std::min(differences_ + 1, kErrorsMeanOf);
        second_less_first_pa_ += (pressure_pa - other.pressure_pa - second_less_first_pa_) / differences_;
        return kNaN;
    }
    return pressure_pa - second_less_first_pa_;
}

} // namespace turnstone
