#include "tools/sim/avionics/handling.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace turnstone::sim {

namespace {

constexpr double kPi = std::numbers::pi;
constexpr double kRestBefore_s = 5.0;
constexpr double kRestAfter_s = 3.0;
constexpr double kPressurePerMetre_pa = 10.1; ///< of height near 1200 m; heights here are a few tens of metres

/// What acts at one instant, body axes.
struct Felt {
    Eigen::Vector3d force_mps2;
    Eigen::Vector3d rate_radps = Eigen::Vector3d::Zero();
    double pressure_change_pa = 0.0;
};

double half_sine(double since_s, double duration_s) {
    return since_s > 0.0 && since_s < duration_s ? std::sin(kPi * since_s / duration_s) : 0.0;
}

/// One case with its random numbers drawn, so that `at` is a function of time alone.
class Course {
  public:
    Course(Handling kind, double gravity_mps2, double duration_s, Random& random)
        : kind_(kind), gravity_(gravity_mps2), end_s_(duration_s - kRestAfter_s) {
        for (Hit& hit : hits_) {
            hit.t_s = random.uniform(kRestBefore_s, std::max(kRestBefore_s + 0.1, end_s_ - 1.0));
            hit.size = random.uniform(0.0, 1.0);
            hit.direction = random.normal3().normalized();
        }
        hits_[0].direction = Eigen::Vector3d::UnitX();
        for (Wave& wave : waves_) {
            wave.frequency_hz = random.uniform(1.5, 14.0);
            wave.phase_rad = random.uniform(0.0, 2.0 * kPi);
            wave.amplitude_mps2 = 4.0 * random.normal3();
        }
    }

    [[nodiscard]] Felt at(double t_s) const {
        const Eigen::Vector3d upright(gravity_, 0.0, 0.0);
        const Eigen::Vector3d lying(0.0, 0.0, gravity_);
        if (t_s < kRestBefore_s) return {kind_ == Handling::transport || kind_ == Handling::carry ? lying : upright};
        switch (kind_) {
        case Handling::bump: return bump(t_s, upright);
        case Handling::drop: return drop(t_s, upright, lying);
        case Handling::door_slam: return door_slam(t_s, upright);
        case Handling::gust: return gust(t_s, upright);
        case Handling::transport: return transport(t_s, lying);
        case Handling::carry: return carry(t_s);
        case Handling::swing: return swing(t_s, upright);
        }
        return {upright};
    }

  private:
    struct Hit {
        double t_s;
        double size; ///< 0..1
        Eigen::Vector3d direction;
    };
    struct Wave {
        double frequency_hz;
        double phase_rad;
        Eigen::Vector3d amplitude_mps2;
    };

    [[nodiscard]] Felt bump(double t_s, const Eigen::Vector3d& upright) const {
        Felt felt{upright};
        for (std::size_t i = 0; i < 3; ++i) {
            const double duration_s = 0.004 + 0.005 * hits_[i].size;
            const double pulse = half_sine(t_s - hits_[i].t_s, duration_s);
            felt.force_mps2 += (60.0 + 90.0 * hits_[i].size) * pulse * hits_[i].direction;
            const double since_s = t_s - hits_[i].t_s;
            if (since_s > 0.0) { // the rail rings
                felt.rate_radps.y() +=
                    0.6 * hits_[i].size * std::exp(-since_s / 0.25) * std::sin(2.0 * kPi * 7.0 * since_s);
            }
        }
        return felt;
    }

    [[nodiscard]] Felt drop(double t_s, const Eigen::Vector3d& upright, const Eigen::Vector3d& lying) const {
        const double height_m = 0.4 + 0.7 * hits_[0].size;
        const double fall_s = std::sqrt(2.0 * height_m / gravity_);
        const double begin_s = kRestBefore_s + 1.0;
        const double hit_s = begin_s + fall_s;
        if (t_s < begin_s) return {upright};
        if (t_s < hit_s) return {Eigen::Vector3d::Zero(), {0.1, 0.8 * hits_[1].size, 0.3}, 0.0};
        const double contact_s = 0.012;
        if (t_s < hit_s + contact_s) {
            const double peak = 0.5 * kPi * gravity_ * fall_s / contact_s;
            return {upright + Eigen::Vector3d(peak, 0.3 * peak, 0.1 * peak) * half_sine(t_s - hit_s, contact_s)};
        }
        const double roll = std::clamp((t_s - hit_s - contact_s) / 0.6, 0.0, 1.0);
        const double angle_rad = 0.5 * kPi * roll;
        Felt felt{std::cos(angle_rad) * upright + std::sin(angle_rad) * lying};
        if (roll < 1.0) felt.rate_radps.y() = 0.5 * kPi / 0.6;
        felt.force_mps2 += 70.0 * half_sine(t_s - hit_s - contact_s - 0.6, 0.008) * hits_[1].direction;
        return felt;
    }

    [[nodiscard]] Felt door_slam(double t_s, const Eigen::Vector3d& upright) const {
        Felt felt{upright};
        for (std::size_t i = 0; i < 3; ++i) {
            const double since_s = t_s - hits_[i].t_s;
            if (since_s > 0.0) {
                const double sign = hits_[i].direction.y() < 0.0 ? -1.0 : 1.0;
                felt.pressure_change_pa += sign * (100.0 + 300.0 * hits_[i].size) * std::exp(-since_s / 0.12) *
                                           std::cos(2.0 * kPi * 6.0 * since_s);
                felt.force_mps2 += 1.5 * half_sine(since_s, 0.05) * hits_[i].direction;
            }
        }
        return felt;
    }

    [[nodiscard]] Felt gust(double t_s, const Eigen::Vector3d& upright) const {
        Felt felt{upright};
        if (t_s > end_s_) return felt;
        double wander = 0.0;
        for (const Wave& wave : waves_) {
            wander += 0.5 * std::sin(2.0 * kPi * 0.06 * wave.frequency_hz * t_s + wave.phase_rad);
            const double rock = std::sin(2.0 * kPi * 0.35 * wave.frequency_hz * t_s + wave.phase_rad);
            felt.rate_radps += 0.008 * rock * wave.amplitude_mps2;
            felt.force_mps2 += 0.1 * rock * wave.amplitude_mps2;
        }
        felt.pressure_change_pa = 50.0 * wander;
        return felt;
    }

    [[nodiscard]] Felt transport(double t_s, const Eigen::Vector3d& lying) const {
        Felt felt{lying};
        if (t_s > end_s_) return felt;
        for (const Wave& wave : waves_) {
            felt.force_mps2 +=
                0.4 * std::sin(2.0 * kPi * wave.frequency_hz * t_s + wave.phase_rad) * wave.amplitude_mps2;
            felt.rate_radps += 0.03 * std::cos(2.0 * kPi * 0.4 * wave.frequency_hz * t_s) * wave.amplitude_mps2;
        }
        for (const Hit& hit : hits_) { // potholes: mostly across the axis, since it lies
            Eigen::Vector3d direction = hit.direction;
            direction.x() *= 0.5;
            felt.force_mps2 += (15.0 + 30.0 * hit.size) * half_sine(t_s - hit.t_s, 0.06) * direction;
        }
        const double course = (t_s - kRestBefore_s) / (end_s_ - kRestBefore_s);
        felt.pressure_change_pa = -kPressurePerMetre_pa * 15.0 * (1.0 - std::cos(2.0 * kPi * course));
        return felt;
    }

    [[nodiscard]] Felt carry(double t_s) const {
        const double walk_end_s = kRestBefore_s + 0.5 * (end_s_ - kRestBefore_s);
        const double raise_s = 2.5;
        const double raised = std::clamp((t_s - walk_end_s) / raise_s, 0.0, 1.0);
        const double angle_rad = 0.5 * kPi * raised;
        Felt felt{gravity_ * Eigen::Vector3d(std::sin(angle_rad), 0.0, std::cos(angle_rad))};
        if (t_s < walk_end_s) {
            const double step = std::sin(2.0 * kPi * 1.9 * (t_s - kRestBefore_s));
            felt.force_mps2.z() += 3.5 * step + 1.5 * step * step * step;
            felt.rate_radps.z() = 0.3 * step;
        } else if (raised < 1.0) {
            felt.rate_radps.y() = -0.5 * kPi / raise_s;
        }
        felt.pressure_change_pa = -kPressurePerMetre_pa * 1.6 * raised;
        felt.force_mps2.x() += 45.0 * half_sine(t_s - walk_end_s - raise_s - 1.0, 0.015); // the stop
        return felt;
    }

    [[nodiscard]] Felt swing(double t_s, const Eigen::Vector3d& upright) const {
        const double since_s = t_s - hits_[0].t_s;
        const double duration_s = 0.35 + 0.1 * hits_[1].size;
        const double pull = half_sine(since_s, duration_s);
        return {upright + Eigen::Vector3d((10.0 + 10.0 * hits_[0].size) * pull, 6.0 * pull, 0.0),
                {0.0, 4.0 * pull, 0.0},
                0.0};
    }

    Handling kind_;
    double gravity_;
    double end_s_;
    std::array<Hit, 6> hits_{};
    std::array<Wave, 5> waves_{};
};

} // namespace

std::string_view to_string(Handling kind) {
    switch (kind) {
    case Handling::bump: return "bump";
    case Handling::drop: return "drop";
    case Handling::door_slam: return "door slam";
    case Handling::gust: return "gust";
    case Handling::transport: return "transport";
    case Handling::carry: return "carry";
    case Handling::swing: return "swing";
    }
    return "";
}

HandlingStream handle(Handling kind, const Scenario& scenario, std::uint64_t seed, double duration_s) {
    Random random(seed, to_string(kind));
    InertialSensor inertial(scenario.vehicle.sensors, Random(seed, "inertial"));
    PressureSensor barometer(scenario.vehicle.sensors, scenario.airframe.barometer_lag_s, Random(seed, "barometer"));
    const FlightSetup setup = make_setup(scenario, seed);
    const AirPoint air = setup.air.at(0.0);
    const Course course(kind, setup.gravity.at(0.0), duration_s, random);
    constexpr int kSubsteps = 10;
    constexpr int kPressureTicks = 8;

    HandlingStream out{};
    for (int tick = 1; tick * kImuPeriod_s <= duration_s; ++tick) {
        Eigen::Vector3d force = Eigen::Vector3d::Zero();
        Eigen::Vector3d rate = Eigen::Vector3d::Zero();
        double pressure_change_pa = 0.0;
        for (int k = 0; k < kSubsteps; ++k) {
            const Felt felt = course.at((tick - 1 + (k + 0.5) / kSubsteps) * kImuPeriod_s);
            force += felt.force_mps2 / kSubsteps;
            rate += felt.rate_radps / kSubsteps;
            pressure_change_pa = felt.pressure_change_pa;
            out.greatest_axial_mps2 = std::max(out.greatest_axial_mps2, felt.force_mps2.x());
        }
        const double t_s = tick * kImuPeriod_s;
        out.imu.push_back(inertial.read(t_s, force, rate));
        barometer.follow(air.pressure_pa + pressure_change_pa, kImuPeriod_s);
        if (tick % kPressureTicks == 0) out.pressure.push_back({t_s, barometer.read(0.0), air.temperature_k + 2.0});
    }
    return out;
}

} // namespace turnstone::sim
