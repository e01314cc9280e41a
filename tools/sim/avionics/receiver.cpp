#include "tools/sim/avionics/receiver.hpp"

#include <algorithm>
#include <cmath>

namespace turnstone::sim {

namespace {

/// Specific force must stay high this long before the receiver loses lock, and lock takes this long to come back.
constexpr double kFixLossOnset_s = 0.15;
constexpr double kReacquire_s = 1.4;
constexpr double kColdStart_s = 6.0;
constexpr double kDelayLeast_s = 0.02;

Eigen::Vector3d draw_axes(Random& random, Shape shape) {
    const double x = draw(random, shape), y = draw(random, shape);
    return {x, y, draw(random, shape)};
}

} // namespace

LastingStep lasting_step(double dt_s, double correlation_s) {
    if (!(correlation_s > 0.0)) return {0.0, 1.0};
    return {std::exp(-dt_s / correlation_s), -std::expm1(-2.0 * dt_s / correlation_s)};
}

LastingError::LastingError(double correlation_s, Random random)
    : correlation_s_(correlation_s), random_(random), value_(random_.normal3()) {}

const Eigen::Vector3d& LastingError::after(double dt_s) {
    const LastingStep step = lasting_step(dt_s, correlation_s_);
    value_ = step.keep * value_ + std::sqrt(step.added) * random_.normal3();
    return value_;
}

Receiver::Receiver(const Scenario& scenario, std::uint64_t seed)
    : scenario_(&scenario),
      frame_(scenario.site.pad.latitude_deg, scenario.site.pad.longitude_deg, scenario.site.pad.height_m),
      random_(seed, "receiver"), flight_(seed, "receiver, once a flight"),
      lasting_(scenario.errors.receiver.correlation_s, Random(seed, "receiver, lasting")) {
    const ReceiverErrors& errors = scenario.errors.receiver;
    const Shape shape = scenario.errors.bounded;
    const double middle_s = 0.5 * (errors.delay_low_s + errors.delay_high_s);
    const double half_s = 0.5 * (errors.delay_high_s - errors.delay_low_s);
    delay_s_ = scenario.vehicle.sensors.fix_delay_s + middle_s + half_s / std::sqrt(3.0) * draw(flight_, shape);
    datum_m_ = scenario.datum_offset_m + errors.datum_m * draw(flight_, shape);
}

void Receiver::feel(const TruthSample& sample) {
    const Airframe& airframe = scenario_->airframe;
    const bool rough = sample.specific_force_body_mps2.norm() > airframe.fix_lost_above_mps2;
    rough_s_ = rough ? rough_s_ + kTruthStep_s : 0.0;
    if (rough_s_ > kFixLossOnset_s) {
        locked_again_s_ = sample.t_s + kReacquire_s * random_.uniform(0.7, 1.5);
        const ReceiverErrors& errors = scenario_->errors.receiver;
        relock_m_ = errors.relock_m * draw_axes(flight_, scenario_->errors.shape) / std::sqrt(3.0);
        relock_mps_ = errors.relock_mps * draw_axes(flight_, scenario_->errors.shape) / std::sqrt(3.0);
    }
    if (sample.velocity_enu_mps.norm() > airframe.fix_lost_above_mps ||
        sample.position_enu_m.z() > airframe.fix_lost_above_m)
        locked_again_s_ = std::max(locked_again_s_, sample.t_s + kReacquire_s);
}

bool Receiver::locked(const TruthSample& sample, const FlightEvents& events) const {
    if (scenario_->gnss_lost_at_liftoff && sample.t_s >= events.liftoff_s)
        return std::isfinite(events.touchdown_s) && sample.t_s > events.touchdown_s + kColdStart_s;
    return sample.t_s >= locked_again_s_;
}

void Receiver::take(const TruthSample& sample, const Eigen::Vector3d& white, const Eigen::Vector3d& speed_white,
                    double spread) {
    const SensorNoise& noise = scenario_->vehicle.sensors;
    const ReceiverErrors& errors = scenario_->errors.receiver;
    const Eigen::Vector3d stated_m(noise.fix_horizontal_m, noise.fix_horizontal_m, noise.fix_vertical_m);
    const Eigen::Vector3d unit = std::sqrt(1.0 - errors.correlated_share) * white +
                                 std::sqrt(errors.correlated_share) * lasting_.after(sample.t_s - t_read_s_);
    const double still = std::exp(-(sample.t_s - locked_again_s_) / errors.relock_decay_s);
    const Eigen::Vector3d off_m = still * relock_m_, off_mps = still * relock_mps_;
    const Eigen::Vector3d enu_m =
        sample.position_enu_m + errors.size * unit.cwiseProduct(stated_m) + off_m + Eigen::Vector3d(0.0, 0.0, datum_m_);
    double height_m = 0.0;
    frame_.Reverse(enu_m.x(), enu_m.y(), enu_m.z(), last_.latitude_deg, last_.longitude_deg, height_m);
    last_.height_msl_m = height_m - scenario_->site.geoid_height_m;
    last_.velocity_enu_mps = sample.velocity_enu_mps + errors.size * noise.fix_speed_mps * speed_white + off_mps;
    last_.accuracy_horizontal_m =
        spread * std::hypot(noise.fix_horizontal_m, errors.relock_told * off_m.head<2>().norm());
    last_.accuracy_vertical_m = spread * std::hypot(noise.fix_vertical_m, errors.relock_told * off_m.z());
    last_.accuracy_speed_mps = spread * std::hypot(noise.fix_speed_mps, errors.relock_told * off_mps.norm());
    t_read_s_ = sample.t_s;
}

FixReading Receiver::read(const TruthSample& sample, const FlightEvents& events) {
    const ReceiverErrors& errors = scenario_->errors.receiver;
    const auto white = [&] {
        return errors.white == Shape::normal ? random_.normal3() : draw_axes(random_, errors.white);
    };
    const Eigen::Vector3d error = white();
    const Eigen::Vector3d speed_error = white();
    const double spread = random_.uniform(0.85, 1.2);
    const int satellites = 11 + static_cast<int>(random_.below(4));
    if (locked(sample, events)) {
        take(sample, error, speed_error, spread);
        last_.fix_dimensions = 3;
        last_.satellites = satellites;
    } else {
        last_.fix_dimensions = 1;
        last_.satellites = static_cast<int>(random_.below(4));
        last_.accuracy_horizontal_m = 500.0;
        last_.accuracy_vertical_m = 500.0;
        last_.accuracy_speed_mps = 50.0;
    }
    last_.t_valid_s = sample.t_s;
    const double jitter_s = errors.delay_jitter_s > 0.0 ? errors.delay_jitter_s * random_.normal() : 0.0;
    last_.t_s = sample.t_s + std::max(kDelayLeast_s, delay_s_ + jitter_s);
    return last_;
}

} // namespace turnstone::sim
