#include "tools/sim/avionics/burst.hpp"

#include <algorithm>
#include <cmath>

#include "tools/sim/avionics/failing.hpp"

namespace turnstone::sim {

namespace {

constexpr double kGaugeOffset_pa = 150.0; ///< 1-sigma, of the gauge in the bay
constexpr double kGaugeNoise_pa = 25.0;
constexpr double kVoltageNoise_v = 0.008;
constexpr double kCurrentNoise_a = 0.03;

} // namespace

std::vector<Burst> keep_bursts(const Truth& truth, const Scenario& scenario, std::uint64_t seed,
                               const SensorStream& sensors) {
    std::vector<Burst> out;
    Random random(seed, "burst");
    FailingInertial fail(truth, scenario, Random(seed, "failing inertial sensor in bursts"));
    const SensorNoise& noise = scenario.vehicle.sensors;
    // vehicle.json states the noise of means over five of these.
    const double root = std::sqrt(kTruthStep_s / 0.001);
    const double gauge_pa = kGaugeOffset_pa * random.normal();
    const double site_pa = truth.samples.empty() ? 0.0 : truth.samples.front().pressure_pa;
    for (const Firing& firing : truth.firings) {
        Burst burst{firing.t_s, firing.parachute, {}};
        for (const FiringSample& sample : firing.samples) {
            Eigen::Vector3d accel_mps2(sample.axial_mps2 + sensors.accel_bias_mps2.x() +
                                           root * noise.accel_noise_mps2 * random.normal(),
                                       0.0, 0.0);
            Eigen::Vector3d rate_radps(0.0,
                                       sample.turn_rate_radps + sensors.gyro_bias_radps.y() +
                                           root * noise.gyro_noise_radps * random.normal(),
                                       0.0);
            fail(sample.t_s, root, accel_mps2, rate_radps);
            burst.readings.push_back(
                {.t_s = sample.t_s,
                 .axial_mps2 = std::clamp(accel_mps2.x(), -noise.accel_range_mps2, noise.accel_range_mps2),
                 .turn_rate_radps = rate_radps.y(),
                 .bay_pa = site_pa + gauge_pa + sample.bay_over_pa + kGaugeNoise_pa * random.normal(),
                 .battery_v = scenario.airframe.battery_v - sample.battery_sag_v + kVoltageNoise_v * random.normal(),
                 .current_a = sample.current_a + kCurrentNoise_a * random.normal()});
        }
        out.push_back(std::move(burst));
    }
    return out;
}

} // namespace turnstone::sim
