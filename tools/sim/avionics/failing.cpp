#include "tools/sim/avionics/failing.hpp"

#include <cmath>

namespace turnstone::sim {

namespace {

double first_ejection_s(const Truth& truth) {
    return truth.events.ejections.empty() ? kNever_s : truth.events.ejections.front().t_s;
}

/// What noise to add to noise of 1 for so many times of it.
double added_for(double times) {
    return std::sqrt(times * times - 1.0);
}

} // namespace

FailingBarometer::FailingBarometer(const Truth& truth, const Scenario& scenario, Random random)
    : fault_(scenario.barometer_at_ejection), noise_pa_(scenario.vehicle.sensors.pressure_noise_pa),
      from_s_(first_ejection_s(truth)), random_(random) {}

double FailingBarometer::operator()(double reading_pa, double t_s, double last_pa) {
    if (t_s <= from_s_) return reading_pa;
    switch (fault_) {
    case BarometerFault::none: break;
    case BarometerFault::dead: return 0.0;
    case BarometerFault::stuck: return last_pa > 0.0 ? last_pa : reading_pa;
    case BarometerFault::offset: return reading_pa + 250.0;
    case BarometerFault::noisy: return reading_pa + std::round(added_for(6.0) * noise_pa_ * random_.normal());
    }
    return reading_pa;
}

FailingInertial::FailingInertial(const Truth& truth, const Scenario& scenario, Random random)
    : fault_(scenario.inertial_at_ejection), accel_noise_mps2_(scenario.vehicle.sensors.accel_noise_mps2),
      gyro_noise_radps_(scenario.vehicle.sensors.gyro_noise_radps), from_s_(first_ejection_s(truth)), random_(random) {}

void FailingInertial::operator()(double t_s, double noise, Eigen::Vector3d& accel_mps2, Eigen::Vector3d& rate_radps) {
    if (t_s <= from_s_) {
        last_accel_mps2_ = accel_mps2;
        last_rate_radps_ = rate_radps;
        return;
    }
    switch (fault_) {
    case InertialFault::none: break;
    case InertialFault::gyro_dead: rate_radps.setZero(); break;
    case InertialFault::noisy:
        accel_mps2 += added_for(4.0) * noise * accel_noise_mps2_ * random_.normal3();
        rate_radps += added_for(4.0) * noise * gyro_noise_radps_ * random_.normal3();
        break;
    case InertialFault::accel_inverted: accel_mps2 = -accel_mps2; break;
    case InertialFault::accel_offset: accel_mps2.x() += 2.5; break;
    case InertialFault::accel_dead: accel_mps2.setZero(); break;
    case InertialFault::stuck:
        accel_mps2 = last_accel_mps2_;
        rate_radps = last_rate_radps_;
        break;
    }
}

} // namespace turnstone::sim
