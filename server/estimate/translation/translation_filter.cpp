#include "server/estimate/translation/translation_filter.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "server/estimate/math/fall.hpp"
#include "server/estimate/measurements.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

using Eigen::Vector3d;

namespace {

/// Chi-square 0.999 by degrees of freedom, from 1.
constexpr std::array<double, 6> kGates = {10.827566, 13.815511, 16.266236, 18.466827, 20.515006, 22.457744};
/// Beside the thrust of a motor or the opening of a parachute: small rockets reach 100 m/s2.
const Manoeuvre kHard{Vector3d::Zero(), Vector3d::Constant(60.0), Vector3d::Constant(1.0)};
/// A charge's pulse in the bay makes heights lower, thrust makes them higher.
const Manoeuvre kHardUp{Vector3d::Zero(), {0.0, 0.0, 60.0}, Vector3d::Constant(1.0)};
constexpr double kLeavesFor_s = 3.0; ///< what has left its rest is under thrust, until its phase is known
constexpr double kPlain_nis = 2.0;   ///< of a height that shows no climb
constexpr double kHardFor_s = 10.0;  ///< a receiver that loses its satellites at liftoff has them again in the coast
constexpr double kNoPosition_m = 1e4;
constexpr double kNoVelocity_mps = 300;
/// Of a position: beyond this nobody can use it.
constexpr double kUseless_m = 3000;
/// After this long without a measurement only the slow errors are kept.
constexpr double kForget_s = 120;
/// Heights closer than this in time say the same twice; it also bounds what a late fix costs.
constexpr double kHeightPeriod_s = 0.035;
constexpr double kPadPeriod_s = 1.0;
constexpr double kPadAcross_m = 20;
constexpr double kPadUp_m = 1.0;
constexpr double kPadStill_mps = 0.3;
/// The place is as wrong each time that it is said: twenty times count as once.
constexpr double kPadRepeats = 4.5;
/// Four seconds of fixes and heights at their highest usable rates.
constexpr std::size_t kHistory = 160;

} // namespace

TranslationSettings translation_settings(const SensorNoise& sensors) {
    const double lasting = std::sqrt(sensors.fix_correlated_share);
    TranslationSettings out;
    out.errors.fix_tau_s = sensors.fix_correlation_s;
    out.errors.fix_sigma_m =
        lasting * Vector3d(sensors.fix_horizontal_m, sensors.fix_horizontal_m, sensors.fix_vertical_m);
    out.errors.delay_sigma_s = kFixDelayDoubt * sensors.fix_delay_sigma_s;
    out.errors.datum_sigma_m = sensors.pad_datum_sigma_m;
    out.errors.height_delay_sigma_s = kPressureDelayDoubt * sensors.pressure_delay_sigma_s;
    out.fix_delay_s = sensors.fix_delay_s;
    out.white_fraction = 1 - sensors.fix_correlated_share;
    return out;
}

TranslationFilter::TranslationFilter(const TranslationSettings& settings)
    : settings_(settings), before_(settings.errors), history_(kHistory) {}

TranslationFilter::TranslationFilter(const TranslationSettings& settings, const TranslationState& known,
                                     std::int64_t t_ns)
    : TranslationFilter(settings) {
    before_.state = known;
    before_.t_ns = before_.t_fix_ns = t_ns;
    before_.placed = true;
}

void TranslationFilter::fix(const TranslationFix& fix) {
    if (!fix.position_enu_m.head<2>().allFinite()) return;
    Measurement m;
    m.t_ns = fix.t_valid_ns != 0 ? fix.t_valid_ns : fix.t_ns - seconds_to_ns(settings_.fix_delay_s);
    m.kind = Kind::fix;
    m.value << fix.position_enu_m, fix.velocity_enu_mps;
    // What is larger than the wandering part's own size is new in each fix: a receiver that has just found its
    // satellites again.
    const auto white = [&](double stated, double wandering) {
        return std::sqrt(std::max(settings_.white_fraction * fix.scatter.position * stated * stated,
                                  stated * stated - wandering * wandering));
    };
    m.sigma << Vector3d(white(fix.horizontal_sigma_m, settings_.errors.fix_sigma_m.x()),
                        white(fix.horizontal_sigma_m, settings_.errors.fix_sigma_m.y()),
                        white(fix.vertical_sigma_m, settings_.errors.fix_sigma_m.z())),
        Vector3d::Constant(std::sqrt(fix.scatter.speed) * fix.speed_sigma_mps);
    take(m);
}

void TranslationFilter::height(std::int64_t t_ns, double above_pad_m, double noise_m, double systematic_m) {
    if (!std::isfinite(above_pad_m) || !std::isfinite(noise_m) || !std::isfinite(systematic_m)) return;
    if (std::abs(seconds_between(newest().t_height_ns, t_ns)) < kHeightPeriod_s) return;
    Measurement m;
    m.t_ns = t_ns;
    m.kind = Kind::height;
    m.value(0) = above_pad_m;
    m.sigma(0) = noise_m;
    m.systematic = systematic_m;
    take(m);
}

void TranslationFilter::on_the_rail(std::int64_t t_ns) {
    if (seconds_between(t_pad_ns_, t_ns) < kPadPeriod_s) return;
    t_pad_ns_ = t_ns;
    Measurement m;
    m.t_ns = t_ns;
    m.kind = Kind::place;
    take(m);
}

void TranslationFilter::advance(std::int64_t t_ns) noexcept {
    t_shown_ns_ = std::max(t_shown_ns_, t_ns);
}

void TranslationFilter::take(const Measurement& measurement) {
    // Where it belongs: behind all that are not newer.
    std::size_t at = history_.size();
    while (at > 0 && history_[at - 1].measurement.t_ns > measurement.t_ns) --at;
    if (at == 0 && !history_.empty()) return; // older than what can be gone back to
    Step step;
    step.measurement = measurement;
    step.measurement.manoeuvre = manoeuvre_;
    const bool full = history_.size() == kHistory;
    if (full) leave_oldest();
    history_.push(step);
    if (full) --at;
    for (std::size_t k = history_.size() - 1; k > at; --k) std::swap(history_[k], history_[k - 1]);
    for (std::size_t k = at; k < history_.size(); ++k)
        history_[k].after = taken(k == 0 ? before_ : history_[k - 1].after, history_[k].measurement);
    advance(measurement.t_ns);
}

/// Nothing later can change what it says.
void TranslationFilter::leave_oldest() {
    if (forward_ != nullptr) (void)taken(before_, history_[0].measurement, {forward_});
    before_ = history_[0].after;
}

void TranslationFilter::leave_last_steps() {
    if (forward_ == nullptr) return;
    Belief belief = before_;
    for (std::size_t k = 0; k < history_.size(); ++k) belief = taken(belief, history_[k].measurement, {forward_});
}

void TranslationFilter::Trail::move(const TranslationState::Matrix& transition) const {
    if (forward != nullptr) forward->transition() = (transition * forward->transition()).eval();
}

void TranslationFilter::Trail::begin_again(int first, int step, int count) const {
    for (int k = 0; forward != nullptr && k < count; ++k) forward->transition().row(first + step * k).setZero();
}

void TranslationFilter::Trail::keep(std::int64_t t_ns, const TranslationState& predicted,
                                    const TranslationState& corrected) const {
    if (forward != nullptr) forward->keep(t_ns, predicted.kalman(), corrected.kalman());
}

TranslationFilter::Belief TranslationFilter::taken(const Belief& before, const Measurement& measurement,
                                                   const Trail& trail) const {
    Belief belief = before;
    if (predict(belief, measurement.t_ns, measurement.manoeuvre) && trail.forward != nullptr) {
        const double step_s = std::min(seconds_between(before.t_ns, measurement.t_ns), kForget_s);
        const Manoeuvre& manoeuvre = expected(before, measurement.t_ns, measurement.manoeuvre);
        trail.move(TranslationState::transition(step_s, manoeuvre, settings_.errors));
    }
    switch (measurement.kind) {
    case Kind::fix: take_fix(belief, measurement, trail); break;
    case Kind::height: take_height(belief, measurement, trail); break;
    case Kind::place: take_place(belief, trail); break;
    }
    return belief;
}

void TranslationFilter::correct(Belief& belief, const TranslationState::Observation& seen, const Trail& trail) const {
    if (trail.forward == nullptr) {
        belief.state.correct(seen);
        return;
    }
    const TranslationState predicted = belief.state;
    belief.state.correct(seen);
    trail.keep(belief.t_ns, predicted, belief.state);
}

const Manoeuvre& TranslationFilter::expected(const Belief& belief, std::int64_t t_ns, const Manoeuvre& manoeuvre) {
    const bool leaves =
        manoeuvre.may_begin && belief.t_left_ns != 0 && seconds_between(belief.t_left_ns, t_ns) < kLeavesFor_s;
    return leaves ? kThrust : manoeuvre;
}

bool TranslationFilter::predict(Belief& belief, std::int64_t t_ns, const Manoeuvre& manoeuvre) const {
    const double step_s = seconds_between(belief.t_ns, t_ns);
    belief.t_ns = t_ns;
    if (!belief.placed || step_s <= 0) return false;
    if (std::exchange(belief.may_begin, manoeuvre.may_begin) && !manoeuvre.may_begin)
        belief.state.begin_manoeuvre(manoeuvre);
    belief.state.predict(std::min(step_s, kForget_s), expected(belief, t_ns, manoeuvre), settings_.errors);
    belief.placed = step_s < kForget_s;
    return true;
}

void TranslationFilter::take_fix(Belief& belief, const Measurement& m, const Trail& trail) const {
    TranslationState& state = belief.state;
    const auto place = [&](int axis, double position_m, double velocity_mps) {
        state.place(axis, position_m, velocity_mps, kNoPosition_m, kNoVelocity_mps);
        trail.begin_again(axis, 3, 3);
    };
    const auto begin_at_fix = [&](int axis) {
        const double velocity_mps = m.value(3 + axis);
        place(axis, m.value(axis), std::isfinite(velocity_mps) ? velocity_mps : 0);
    };
    if (!belief.placed) place(2, 0, 0);
    for (int axis = 0; axis < 3; ++axis)
        if (std::isfinite(m.value(axis)) && (!belief.placed || state.sigma(axis) > kUseless_m)) begin_at_fix(axis);
    belief.placed = true;

    const Eigen::Matrix<double, 6, 6> noise = m.sigma.cwiseAbs2().asDiagonal();
    TranslationState::Observation seen = state.of_fix(m.value, noise);
    const double gate = kGates[static_cast<std::size_t>(seen.innovation.size() - 1)];
    const double nis = state.nis(seen);
    const double since_fix_s = std::clamp(seconds_between(belief.t_fix_ns, m.t_ns), 0.0, kHardFor_s);
    bool fits = nis <= gate;
    if (!fits) {
        TranslationState harder = state;
        harder.add_manoeuvre(since_fix_s, kHard);
        fits = harder.nis(seen) <= gate;
        if (fits) state = harder;
        if (fits && m.manoeuvre.may_begin) belief.t_left_ns = m.t_ns;
    }
    if (fits) {
        belief.fix_unfit_since_ns = 0;
        belief.t_fix_ns = m.t_ns;
    } else {
        ++belief.rejected_fixes;
        seen.noise *= nis / gate;
        if (belief.fix_unfit_since_ns == 0) {
            belief.fix_unfit_since_ns = m.t_ns;
        } else if (seconds_between(belief.fix_unfit_since_ns, m.t_ns) > kRecovery_s) {
            for (int axis = 0; axis < 3; ++axis)
                if (std::isfinite(m.value(axis))) begin_at_fix(axis);
            seen = state.of_fix(m.value, noise);
            belief.fix_unfit_since_ns = 0;
            belief.t_fix_ns = m.t_ns;
        }
    }
    correct(belief, seen, trail);
}

void TranslationFilter::take_height(Belief& belief, const Measurement& m, const Trail& trail) const {
    TranslationState& state = belief.state;
    const auto place = [&](int axis, double position_m) {
        state.place(axis, position_m, 0, kNoPosition_m, kNoVelocity_mps);
        trail.begin_again(axis, 3, 3);
    };
    if (!belief.placed)
        for (int axis = 0; axis < 3; ++axis) place(axis, 0);
    belief.placed = true;
    belief.t_height_ns = m.t_ns;
    state.set_height_error(m.systematic);
    TranslationState::Observation seen = state.of_height(m.value(0), m.sigma(0));
    double nis = state.nis(seen);
    if (nis > kGates[0] && seen.innovation(0) > 0 && m.manoeuvre.may_begin) {
        TranslationState harder = state;
        const double since_s = seconds_between(belief.t_plain_before_ns, m.t_ns);
        harder.add_manoeuvre(std::clamp(since_s, 0.0, kHardFor_s), kHardUp);
        if (harder.nis(seen) <= kGates[0]) {
            state = harder;
            nis = state.nis(seen);
            belief.t_left_ns = m.t_ns;
        }
    }
    if (nis <= kGates[0]) {
        if (nis <= kPlain_nis) belief.t_plain_before_ns = std::exchange(belief.t_plain_ns, m.t_ns);
        belief.height_unfit_since_ns = 0;
    } else {
        seen.noise *= nis / kGates[0];
        const bool fixes = seconds_between(belief.t_fix_ns, m.t_ns) < kRecovery_s;
        if (belief.height_unfit_since_ns == 0) {
            belief.height_unfit_since_ns = m.t_ns;
        } else if (seconds_between(belief.height_unfit_since_ns, m.t_ns) > kRecovery_s) {
            if (fixes) {
                state.restart_height_error(m.value(0) - state.value(TranslationState::kUp));
                trail.begin_again(TranslationState::kHeightError, 1, 1);
            } else {
                place(2, m.value(0));
            }
            seen = state.of_height(m.value(0), m.sigma(0));
            belief.height_unfit_since_ns = 0;
        }
    }
    correct(belief, seen, trail);
}

void TranslationFilter::take_place(Belief& belief, const Trail& trail) const {
    TranslationState& state = belief.state;
    const bool fixes =
        belief.placed && belief.t_fix_ns != 0 && seconds_between(belief.t_fix_ns, belief.t_ns) < kRecovery_s;
    if (!fixes) return;
    constexpr double kSure = 3;
    constexpr double kKnown_mps = 5; // what may be anywhere agrees with every place
    for (int axis = 0; axis < 3; ++axis)
        if (state.sigma(TranslationState::kPosition + axis) > kPadAcross_m + settings_.errors.datum_sigma_m ||
            state.sigma(TranslationState::kVelocity + axis) > kKnown_mps)
            return;
    const auto within = [&](int at, double size) {
        return std::abs(state.kalman().x(at)) < size + kSure * state.sigma(at);
    };
    bool stands = within(TranslationState::kPosition + 2, kSure * kPadUp_m);
    for (int axis = 0; axis < 3; ++axis) stands &= within(TranslationState::kVelocity + axis, kPadStill_mps);
    for (int axis = 0; axis < 2; ++axis) stands &= within(TranslationState::kPosition + axis, kPadAcross_m);
    const Vector3d size_m(kPadAcross_m, kPadAcross_m, kPadUp_m);
    if (stands) correct(belief, state.of_place(Vector3d::Zero(), kPadRepeats * size_m), trail);
}

/// Where it gets to the ground it stays.
void TranslationFilter::show_ahead(Belief& belief) const {
    const auto ahead = [&](std::int64_t t_ns) {
        Belief out = belief;
        predict(out, t_ns, manoeuvre_);
        return out;
    };
    belief = ahead(falls_until_ns(belief.t_ns, t_shown_ns_, [&](std::int64_t t_ns) {
        return ahead(t_ns).state.on_time().x(TranslationState::kUp);
    }));
}

TranslationEstimate TranslationFilter::estimate() const {
    Belief belief = newest();
    TranslationEstimate out;
    out.t_measured_ns = belief.t_ns;
    if (history_.size() > 1) out.spacing_s = seconds_between(history_[history_.size() - 2].after.t_ns, belief.t_ns);
    if (t_shown_ns_ > belief.t_ns) show_ahead(belief);
    out.t_ns = belief.t_ns;
    const TranslationState& state = belief.state;
    out.valid_up = belief.placed && state.sigma(TranslationState::kPosition + 2) < kUseless_m;
    out.valid = out.valid_up && std::max(state.sigma(0), state.sigma(1)) < kUseless_m;
    if (!out.valid_up) return out;
    const auto now = state.on_time();
    out.position_enu_m = now.x.segment<3>(TranslationState::kPosition);
    out.velocity_enu_mps = now.x.segment<3>(TranslationState::kVelocity);
    out.acceleration_enu_mps2 = now.x.segment<3>(TranslationState::kAcceleration);
    out.fix_errors << state.part(TranslationState::kFixError), state.value(TranslationState::kDelay),
        state.value(TranslationState::kDatum);
    out.covariance = now.covariance.topLeftCorner<14, 14>();
    return out;
}

} // namespace turnstone::estimate
