#include "tools/sim/steering/fin_computer.hpp"

#include <algorithm>
#include <cmath>
#include <deque>
#include <stdexcept>
#include <string>
#include <vector>

#include "shared/json_reader.hpp"
#include "tools/sim/avionics/inertial.hpp"

namespace turnstone::sim {

namespace {

constexpr double kAirDataError = 0.03; ///< of the dynamic pressure, 1-sigma; common practice, no source

bool flies_in_one_piece(TruePhase phase) {
    return phase == TruePhase::under_thrust || phase == TruePhase::coasting;
}

/// Counts from liftoff.
class Pulses {
  public:
    explicit Pulses(std::vector<FinPulse> pulses) : pulses_(std::move(pulses)) {}

    Eigen::Vector3d operator()(const TruthSample& sample) {
        Eigen::Vector3d out = Eigen::Vector3d::Zero();
        if (!flies_in_one_piece(sample.phase)) return out;
        if (std::isnan(liftoff_s_)) liftoff_s_ = sample.t_s;
        const double since_s = sample.t_s - liftoff_s_;
        for (const FinPulse& pulse : pulses_)
            if (since_s >= pulse.after_liftoff_s && since_s < pulse.after_liftoff_s + pulse.lasts_s)
                out[pulse.axis] = pulse.deflection_rad;
        return out;
    }

  private:
    std::vector<FinPulse> pulses_;
    double liftoff_s_ = kNaN;
};

struct FlownLaw {
    Eigen::Index axis;
    bool of_angle; ///< the state whose error counts
    bool feedback; ///< of angle and rate, otherwise a PID
    double kp, ki, kd, derivative_filter_s;
    double angle, rate;
    double reference, period_s, limit_rad, rate_limit_radps, delay_s, least_q_pa;
    Table factor; ///< against dynamic pressure
};

FlownLaw read_flown_law(const nlohmann::json& json) {
    std::vector<Problem> problems;
    JsonReader reader(json, "law", problems);
    FlownLaw law{};
    reader.ignore("$schema");
    reader.ignore("name");
    law.feedback = reader.choice("form", {"pid", "state_feedback"}) == 1;
    const std::size_t state =
        reader.choice("state", {"roll_radps", "roll_rad", "pitch_radps", "pitch_rad", "yaw_radps", "yaw_rad"});
    law.axis = static_cast<Eigen::Index>(state / 2);
    law.of_angle = state % 2 == 1;
    if (auto gains = reader.object("gains")) {
        if (law.feedback) {
            law.angle = gains->number("angle", -1e6, 1e6);
            law.rate = gains->number("rate", -1e6, 1e6);
        } else {
            law.kp = gains->number("kp", -1e6, 1e6);
            law.ki = gains->number_or("ki", -1e6, 1e6, 0.0);
            law.kd = gains->number_or("kd", -1e6, 1e6, 0.0);
            law.derivative_filter_s = gains->number_or("derivative_filter_s", 1e-3, 10.0, 0.02);
        }
    }
    law.reference = reader.number_or("reference", -1e3, 1e3, 0.0);
    law.period_s = reader.number_or("period_s", 0.001, 1.0, 0.01);
    law.limit_rad = reader.number("limit_rad", 1e-4, 1.6);
    law.rate_limit_radps = reader.number_or("rate_limit_radps", 1e-3, 1e3, kInfinity);
    law.delay_s = reader.number_or("delay_s", 0.0, 1.0, 0.0);
    law.least_q_pa = reader.number_or("least_q_pa", 0.0, 1e7, 0.0);
    for (JsonReader& point : reader.array_if("schedule", 16)) {
        law.factor.x.push_back(point.number("q_pa", 0.0, 1e7));
        law.factor.y.push_back(point.number("factor", 0.0, 1e3));
    }
    if (law.factor.x.empty()) law.factor = {{0.0}, {1.0}};
    if (!problems.empty()) throw std::runtime_error(to_string(problems));
    return law;
}

/// The law at its own period, between the rate sensor and the drive.
class FinComputer {
  public:
    FinComputer(const FlownLaw& law, const SensorNoise& noise, std::uint64_t seed)
        : law_(law), gyro_(noise, Random(seed, "fin computer's rate sensor")) {
        Random air(seed, "fin computer's air data");
        air_data_ = 1.0 + kAirDataError * air.normal();
        ticks_ = std::max<long>(1, std::lround(law_.period_s / kTruthStep_s));
    }

    Eigen::Vector3d operator()(const TruthSample& sample) {
        const double rate =
            gyro_.read(sample.t_s, sample.specific_force_body_mps2, sample.rate_body_radps).rate_body_radps[law_.axis];
        if (sample.phase == TruePhase::on_the_rail) bias_ += (rate - bias_) / static_cast<double>(++rest_);
        if (sample.phase == TruePhase::on_the_rail || !flies_in_one_piece(sample.phase)) return Eigen::Vector3d::Zero();
        const double turned = rate - bias_;
        angle_ += turned * kTruthStep_s;
        sum_ += turned;
        if (++tick_ % ticks_ == 0) {
            const double now = decide(sum_ / static_cast<double>(ticks_), air_data_ * sample.dynamic_pressure_pa);
            sum_ = 0.0;
            leaving_.push_back({sample.t_s + law_.delay_s, now});
        }
        while (!leaving_.empty() && leaving_.front().t_s <= sample.t_s + 1e-9) {
            out_ = leaving_.front().deflection_rad;
            leaving_.pop_front();
        }
        Eigen::Vector3d command = Eigen::Vector3d::Zero();
        command[law_.axis] = out_;
        return command;
    }

  private:
    struct Leaving {
        double t_s;
        double deflection_rad;
    };

    double decide(double rate, double q_pa) {
        const double step_s = static_cast<double>(ticks_) * kTruthStep_s;
        if (q_pa < law_.least_q_pa) {
            integral_ = 0.0;
            last_ = 0.0;
            return 0.0;
        }
        const double factor = law_.factor.at(q_pa);
        double wish = 0.0;
        if (law_.feedback) {
            wish = factor * (law_.angle * (law_.reference - angle_) - law_.rate * rate);
        } else {
            const double error = law_.reference - (law_.of_angle ? angle_ : rate);
            filtered_ += (error - filtered_) * (1.0 - std::exp(-step_s / law_.derivative_filter_s));
            const double slope = started_ ? (error - filtered_) / law_.derivative_filter_s : 0.0;
            if (!started_) filtered_ = error;
            started_ = true;
            // Holds its sum while the fins are at their stop and the error would push them on.
            const double without = law_.kp * error + integral_ + law_.kd * slope;
            if (std::abs(factor * without) < law_.limit_rad || error * without * law_.ki < 0.0)
                integral_ += law_.ki * error * step_s;
            wish = factor * (law_.kp * error + integral_ + law_.kd * slope);
        }
        const double most = law_.rate_limit_radps * step_s;
        last_ = std::clamp(std::clamp(wish, -law_.limit_rad, law_.limit_rad), last_ - most, last_ + most);
        return last_;
    }

    FlownLaw law_;
    InertialSensor gyro_;
    double air_data_;
    long ticks_;
    long tick_ = 0;
    std::size_t rest_ = 0;
    double bias_ = 0.0, angle_ = 0.0, sum_ = 0.0, integral_ = 0.0, filtered_ = 0.0, last_ = 0.0, out_ = 0.0;
    bool started_ = false;
    std::deque<Leaving> leaving_;
};

} // namespace

FinCommand fin_command(const Scenario& scenario, std::uint64_t seed) {
    if (!scenario.steering) return {};
    if (scenario.steering->law.is_null()) return Pulses(scenario.steering->pulses);
    return FinComputer(read_flown_law(scenario.steering->law), scenario.vehicle.sensors, seed);
}

} // namespace turnstone::sim
