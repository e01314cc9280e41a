#include "tools/sim/truth/tethered.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace turnstone::sim {

namespace {

constexpr double kInterval_s = 12.0;
constexpr double kBefore_s = 0.050; ///< of a firing that is kept in fine steps, and after it
constexpr double kAfter_s = 0.250;
constexpr int kSubstepsPerMs = 10;
constexpr int kMsPerTick = 5;
constexpr double kDt_s = kTruthStep_s / (kSubstepsPerMs * kMsPerTick);
// Of the stand: along the body, and about a transverse axis.
constexpr double kPush_radps = 2.0 * std::numbers::pi * 3.0;
constexpr double kRock_radps = 2.0 * std::numbers::pi * 4.5;
constexpr double kDamping = 0.25;

constexpr double kBurn_s = 0.0012;
constexpr double kVentsClosed_s = 0.12; ///< with the lid on
constexpr double kReleaseRise_s = 0.001;
constexpr double kReleaseDecay_s = 0.004;
constexpr double kReleasePeak = 0.4725; ///< of exp(-t / decay) - exp(-t / rise)
constexpr double kRinging_radps = 2.0 * std::numbers::pi * 180.0;
constexpr double kSnatch_s = 0.008;
constexpr double kTwist_s = 0.3;

/// One charge, its random values drawn; times after its firing.
struct Charge {
    double fires_s;
    double current_a, opens_s;
    double lights_s; ///< NaN: never, as the next two
    double lid_off_s, line_taut_s;
    double gas_pa;
    double shock_mps2, snatch_mps2;
    double kick_radps;
    double twist_rad, twist_from_s;
    double resistance_ohm, slow_fraction, slow_s, held_v, held_s;

    [[nodiscard]] double current(double t_s) const {
        if (t_s <= 0.0) return 0.0;
        const double risen_a = current_a * (1.0 - std::exp(-std::min(t_s, opens_s) / 1.2e-4));
        return t_s < opens_s ? risen_a : risen_a * std::exp(-(t_s - opens_s) / 1.0e-4);
    }
    [[nodiscard]] double sag(double t_s) const {
        if (t_s <= 0.0) return 0.0;
        if (t_s < opens_s) return resistance_ohm * current(t_s);
        const double since_s = t_s - opens_s;
        const double held = since_s < held_s ? held_v : held_v * std::exp(-(since_s - held_s) / 0.15);
        return std::max(held, resistance_ohm * current_a *
                                  ((1.0 - slow_fraction) * std::exp(-since_s / 0.004) +
                                   slow_fraction * std::exp(-since_s / slow_s)));
    }
    [[nodiscard]] double gas_rate(double t_s) const {
        const double since_s = t_s - lights_s;
        return since_s > 0.0 ? gas_pa / (kBurn_s * kBurn_s) * since_s * std::exp(-since_s / kBurn_s) : 0.0;
    }
    [[nodiscard]] double push(double t_s) const {
        double out = 0.0;
        if (const double since_s = t_s - lid_off_s; since_s > 0.0) {
            out -= shock_mps2 / kReleasePeak *
                   (std::exp(-since_s / kReleaseDecay_s) - std::exp(-since_s / kReleaseRise_s));
            out += 0.08 * shock_mps2 * std::exp(-since_s / 0.006) * std::sin(kRinging_radps * since_s);
        }
        return out + snatch_mps2 * snatch(t_s);
    }
    [[nodiscard]] double rock(double t_s) const {
        double out = 0.0;
        if (const double since_s = t_s - lid_off_s; since_s > 0.0)
            out += kick_radps / 0.006 * std::exp(-since_s / 0.006);
        return out - 0.4 * kick_radps * 2.0 / kSnatch_s * snatch(t_s);
    }
    [[nodiscard]] double twist(double t_s) const {
        const double phase = std::clamp((t_s - twist_from_s) / kTwist_s, 0.0, 1.0);
        return std::isnan(phase)
                   ? 0.0
                   : twist_rad * (phase - std::sin(2.0 * std::numbers::pi * phase) / (2.0 * std::numbers::pi));
    }

  private:
    [[nodiscard]] double snatch(double t_s) const {
        const double since_s = t_s - line_taut_s;
        return since_s > 0.0 && since_s < kSnatch_s
                   ? 0.5 * (1.0 - std::cos(2.0 * std::numbers::pi * since_s / kSnatch_s))
                   : 0.0;
    }
};

Charge draw_charge(const FlightSetup& setup, std::size_t index, Random& random) {
    const auto about = [&](double mean, double sigma) { return mean + sigma * std::clamp(random.normal(), -2.5, 2.5); };
    Charge charge{};
    charge.fires_s = setup.ignition_s + kInterval_s * static_cast<double>(index) + random.uniform(0.0, 0.040);
    charge.current_a = about(6.0, 0.2);
    charge.opens_s = about(1.7e-3, 1.0e-4);
    charge.lights_s = about(1.9e-3, 1.0e-4) + 4.0e-4 * random.uniform();
    charge.gas_pa = about(1.0, 0.05) * setup.airframe.ejection.pressure_pulse_pa;
    charge.lid_off_s = about(0.0167, 0.0012);
    charge.shock_mps2 = about(118.0, 6.0);
    charge.kick_radps = about(3.5, 0.6) * (random.chance(0.5) ? 1.0 : -1.0);
    charge.line_taut_s = about(0.045, 0.004);
    charge.snatch_mps2 = about(75.0, 6.0);
    charge.twist_rad = about(0.0, 0.1);
    charge.resistance_ohm = about(0.07, 0.004);
    charge.slow_fraction = 0.4;
    charge.slow_s = 0.2;
    const double hang_fire_s = about(0.070, 0.006);
    const double snagged_s = about(0.008, 0.001);
    const double turned_rad = about(2.4, 0.2);

    const ChargeFault fault = index == 0 ? setup.charge_fault : ChargeFault::none;
    if (fault == ChargeFault::lights_late) charge.lights_s += hang_fire_s;
    if (fault == ChargeFault::does_not_light) charge.lights_s = kNaN;
    charge.lid_off_s += charge.lights_s;
    if (fault == ChargeFault::lid_stuck) charge.lid_off_s = kNaN;
    charge.line_taut_s = charge.lid_off_s + (fault == ChargeFault::line_snags ? snagged_s : charge.line_taut_s);
    charge.twist_from_s = charge.lid_off_s;
    switch (fault) {
    case ChargeFault::hard: charge.shock_mps2 *= 2.0; break;
    case ChargeFault::no_parachute: charge.line_taut_s = kNaN; break;
    case ChargeFault::line_snags:
        charge.twist_rad = turned_rad;
        charge.twist_from_s = charge.line_taut_s;
        break;
    case ChargeFault::weak_battery:
        charge.resistance_ohm = 0.28;
        charge.slow_fraction = 0.7;
        charge.slow_s = 1.6;
        break;
    case ChargeFault::brown_out:
        charge.held_v = 2.5;
        charge.held_s = 0.12;
        break;
    default: break;
    }
    return charge;
}

/// Everything that moves and fills, in steps of kDt_s.
class Stand {
  public:
    explicit Stand(const FlightSetup& setup, const std::vector<Charge>& charges)
        : charges_(&charges), area_per_mass_m2_kg_(setup.reference_area_m2 / setup.mass_dry_kg),
          vents_open_s_(setup.airframe.ejection.pressure_decay_s),
          nose_(std::sin(setup.rail_azimuth_rad), std::cos(setup.rail_azimuth_rad), 0.0),
          level_(turn_between(Eigen::Vector3d::UnitX(), nose_)), gravity_(0.0, 0.0, setup.gravity.at(0.0)) {}

    void step(double t_s) {
        double push = 0.0, rock = 0.0, gas_rate = 0.0, vents_s = vents_open_s_;
        const double twist_before = twist_;
        twist_ = 0.0;
        for (const Charge& charge : *charges_) {
            const double since_s = t_s - charge.fires_s;
            gas_rate += charge.gas_rate(since_s);
            push += charge.push(since_s);
            rock += charge.rock(since_s);
            twist_ += charge.twist(since_s);
            // Before the next firing the bay is closed again.
            if (since_s > -0.5 * kInterval_s && !(since_s > charge.lid_off_s)) vents_s = kVentsClosed_s;
        }
        if (vents_s == kVentsClosed_s) push -= over_pa_ * area_per_mass_m2_kg_;
        over_pa_ += (gas_rate - over_pa_ / vents_s) * kDt_s;
        axial_mps2_ = push - kPush_radps * kPush_radps * x_ - 2.0 * kDamping * kPush_radps * speed_;
        const double turn_radps2 = rock - kRock_radps * kRock_radps * angle_ - 2.0 * kDamping * kRock_radps * rate_;
        speed_ += axial_mps2_ * kDt_s; // semi-implicit Euler: stable for an oscillator, and nothing else depends on it
        x_ += speed_ * kDt_s;
        rate_ += turn_radps2 * kDt_s;
        angle_ += rate_ * kDt_s;
        twist_rate_ = (twist_ - twist_before) / kDt_s;
    }
    [[nodiscard]] Eigen::Quaterniond attitude() const {
        return level_ * Eigen::Quaterniond(Eigen::AngleAxisd(angle_, Eigen::Vector3d::UnitY())) *
               Eigen::Quaterniond(Eigen::AngleAxisd(twist_, Eigen::Vector3d::UnitX()));
    }
    [[nodiscard]] Eigen::Vector3d rate_body_radps() const {
        return Eigen::AngleAxisd(-twist_, Eigen::Vector3d::UnitX()) * Eigen::Vector3d(0.0, rate_, 0.0) +
               Eigen::Vector3d(twist_rate_, 0.0, 0.0);
    }
    [[nodiscard]] Eigen::Vector3d specific_force_body_mps2() const {
        return attitude().conjugate() * (axial_mps2_ * nose_ + gravity_);
    }
    [[nodiscard]] Eigen::Vector3d position_m() const { return x_ * nose_; }
    [[nodiscard]] Eigen::Vector3d velocity_mps() const { return speed_ * nose_; }
    [[nodiscard]] double over_pa() const { return over_pa_; }
    [[nodiscard]] double sag_v(double t_s) const {
        double out = 0.0;
        for (const Charge& charge : *charges_) out = std::max(out, charge.sag(t_s - charge.fires_s));
        return out;
    }

  private:
    const std::vector<Charge>* charges_;
    double area_per_mass_m2_kg_;
    double vents_open_s_;
    Eigen::Vector3d nose_;
    Eigen::Quaterniond level_;
    Eigen::Vector3d gravity_;
    double over_pa_ = 0.0;
    double axial_mps2_ = 0.0, speed_ = 0.0, x_ = 0.0;
    double rate_ = 0.0, angle_ = 0.0;
    double twist_ = 0.0, twist_rate_ = 0.0;
};

TruthSample resting(const FlightSetup& setup) {
    TruthSample sample{};
    const AirPoint air = setup.air.at(0.0);
    sample.pressure_pa = air.pressure_pa;
    sample.temperature_k = air.temperature_k;
    sample.mass_kg = setup.mass_dry_kg + setup.mass_propellant_kg;
    sample.wind_enu_mps.setZero();
    sample.phase = TruePhase::on_the_stand;
    return sample;
}

} // namespace

Truth run_tethered(const FlightSetup& setup, double after_s) {
    Truth truth;
    Random random = setup.ejection_random;
    std::vector<Charge> charges;
    for (std::size_t i = 0; i < setup.parachutes.size(); ++i) {
        const Charge charge = charges.emplace_back(draw_charge(setup, i, random));
        truth.events.ejections.push_back({charge.fires_s, i});
        truth.firings.push_back({.t_s = charge.fires_s,
                                 .parachute = i,
                                 .pulse_begins_s = charge.lights_s,
                                 .lid_off_s = charge.lid_off_s,
                                 .line_taut_s = charge.line_taut_s,
                                 .samples = {}});
    }
    const double end_s = charges.back().fires_s + after_s;
    Stand stand(setup, charges);
    TruthSample sample = resting(setup);
    for (std::size_t tick = 1; static_cast<double>(tick) * kTruthStep_s <= end_s; ++tick) {
        Eigen::Vector3d force_sum = Eigen::Vector3d::Zero(), rate_sum = Eigen::Vector3d::Zero();
        for (int ms = 0; ms < kMsPerTick; ++ms) {
            Eigen::Vector3d force_ms = Eigen::Vector3d::Zero(), rate_ms = Eigen::Vector3d::Zero();
            const double from_s = static_cast<double>(tick - 1) * kTruthStep_s + ms * 0.001;
            for (int k = 0; k < kSubstepsPerMs; ++k) {
                stand.step(from_s + (k + 0.5) * kDt_s);
                force_ms += stand.specific_force_body_mps2() / kSubstepsPerMs;
                rate_ms += stand.rate_body_radps() / kSubstepsPerMs;
            }
            force_sum += force_ms / kMsPerTick;
            rate_sum += rate_ms / kMsPerTick;
            const double t_s = from_s + 0.001;
            for (std::size_t i = 0; i < charges.size(); ++i) {
                const double since_s = t_s - charges[i].fires_s;
                if (since_s < -kBefore_s || since_s > kAfter_s) continue;
                truth.firings[i].samples.push_back({.t_s = t_s,
                                                    .axial_mps2 = force_ms.x(),
                                                    .turn_rate_radps = rate_ms.y(),
                                                    .bay_over_pa = stand.over_pa(),
                                                    .battery_sag_v = stand.sag_v(t_s),
                                                    .current_a = charges[i].current(since_s)});
            }
        }
        sample.t_s = static_cast<double>(tick) * kTruthStep_s;
        sample.position_enu_m = stand.position_m();
        sample.velocity_enu_mps = stand.velocity_mps();
        sample.q_local_body = stand.attitude();
        sample.specific_force_body_mps2 = force_sum;
        sample.rate_body_radps = rate_sum;
        sample.bay_over_pa = stand.over_pa();
        sample.battery_sag_v = stand.sag_v(sample.t_s);
        truth.samples.push_back(sample);
    }
    return truth;
}

} // namespace turnstone::sim
