#include "server/estimate/phases/phase_detector.hpp"

#include <algorithm>
#include <cmath>

#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

/// A watch of the detector and one of its ways to look.
template <auto watch, auto how>
MaybeFound by(PhaseDetector& detector, const Sight& sight) {
    return (detector.*watch.*how)(sight);
}

} // namespace

struct PhaseDetector::Rules {
    using D = PhaseDetector;
    using enum Phase;
    using enum Cue;
    using Id = EventId;
    static constexpr Cue kParachute = force | height | pulse | past_shocks;

    static constexpr Rule kAll[] = {
        {on_rail, force, by<&D::liftoff_, &LiftoffWatch::force>, Id::liftoff, under_thrust},
        {on_rail, height, by<&D::liftoff_, &LiftoffWatch::height>, Id::liftoff, under_thrust},
        {on_rail, height, by<&D::liftoff_, &LiftoffWatch::joined>, Id::joined_in_flight, std::nullopt},

        {under_thrust, force, by<&D::liftoff_, &LiftoffWatch::withdrawal>, Id::false_liftoff, on_rail},
        {under_thrust, force, by<&D::burnout_, &BurnoutWatch::force>, Id::burnout, coasting},
        {under_thrust, past_forces, by<&D::burnout_, &BurnoutWatch::past_forces>, Id::burnout, coasting},
        {under_thrust, height, by<&D::burnout_, &BurnoutWatch::height>, Id::burnout, coasting},
        {under_thrust, height, by<&D::apogee_, &ApogeeWatch::height>, Id::apogee, falling},
        {under_thrust, speed, by<&D::apogee_, &ApogeeWatch::speed>, Id::apogee, falling},
        {under_thrust, time, by<&D::silence_, &SilenceWatch::silent>, Id::signal_lost, presumed_down},

        {coasting, force, by<&D::liftoff_, &LiftoffWatch::withdrawal>, Id::false_liftoff, on_rail},
        {coasting, force, by<&D::apogee_, &ApogeeWatch::weight>, Id::apogee, falling},
        {coasting, height, by<&D::apogee_, &ApogeeWatch::height>, Id::apogee, falling},
        {coasting, speed, by<&D::apogee_, &ApogeeWatch::speed>, Id::apogee, falling},
        {coasting, time, by<&D::silence_, &SilenceWatch::silent>, Id::signal_lost, presumed_down},

        {falling, kParachute, by<&D::descent_, &DescentWatch::drogue>, Id::drogue_out, under_drogue},
        {falling, kParachute, by<&D::descent_, &DescentWatch::only_main>, Id::main_out, under_main},
        {falling, rest, by<&D::touchdown_, &TouchdownWatch::rest>, Id::touchdown, down},
        {falling, time, by<&D::silence_, &SilenceWatch::silent>, Id::signal_lost, presumed_down},

        {under_drogue, force, by<&D::descent_, &DescentWatch::main_by_shock>, Id::main_out, under_main},
        {under_drogue, height, by<&D::descent_, &DescentWatch::main>, Id::main_out, under_main},
        {under_drogue, rest, by<&D::touchdown_, &TouchdownWatch::rest>, Id::touchdown, down},
        {under_drogue, time, by<&D::silence_, &SilenceWatch::silent>, Id::signal_lost, presumed_down},

        {under_main, rest, by<&D::touchdown_, &TouchdownWatch::rest>, Id::touchdown, down},
        {under_main, time, by<&D::silence_, &SilenceWatch::silent>, Id::signal_lost, presumed_down},

        {down, force, by<&D::next_flight_, &NextFlightWatch::force>, Id::ready_again, on_rail},
        {down, height, by<&D::next_flight_, &NextFlightWatch::flies>, Id::ready_again, on_rail},
        {down, height, by<&D::next_flight_, &NextFlightWatch::height>, Id::ready_again, on_rail},

        {presumed_down, sample, by<&D::silence_, &SilenceWatch::heard>, Id::signal_reacquired, std::nullopt},
    };
};

std::span<const PhaseDetector::Rule> PhaseDetector::rules() noexcept {
    return Rules::kAll;
}

PhaseDetector::PhaseDetector(const PhaseSettings& settings) : evidence_(settings), liftoff_(settings) {}

void PhaseDetector::imu(const Force& force) {
    if (!evidence_.add(force)) return;
    look_at(Cue::sample);
    if (!on_ground() && phase_ != Phase::under_thrust) evidence_.look_for_shock(phase_ == Phase::coasting);
    look_at(Cue::force);
}

void PhaseDetector::height(const HeightPoint& height) {
    if (!evidence_.add(height)) return;
    look_at(Cue::sample);
    auto found = look_at(Cue::height);
    if (found == EventId::ready_again) {
        // It flies already, and was ready before it left.
        found = look_at(Cue::height);
        if (const auto left_ns = time_of(EventId::liftoff))
            transitions_.front().t_ns = std::min(transitions_.front().t_ns, *left_ns);
    }
    // Thrust may have ended before the climb was believed.
    if (found == EventId::liftoff) look_at(Cue::past_forces);
    // The coast begins with this height.
    if (found == EventId::burnout) look_at(Cue::height);
    look_at(Cue::rest);
}

void PhaseDetector::vertical(const VerticalEstimate& estimate) {
    if (evidence_.add(estimate)) look_at(Cue::speed);
}

void PhaseDetector::fix(const FixPoint& fix) {
    if (evidence_.add(fix)) look_at(Cue::sample);
}

void PhaseDetector::pulse(std::int64_t t_ns) {
    if (!on_ground() && evidence_.add_pulse(t_ns)) look_at(Cue::pulse);
}

void PhaseDetector::tick(std::int64_t t_ns) {
    evidence_.pass_time(t_ns);
    if (!evidence_.barometer_alive()) look_at(Cue::rest);
    look_at(Cue::time);
}

Sight PhaseDetector::sight() const noexcept {
    return {evidence_, phase_, phase_began_ns_, transitions_.empty() ? 0 : transitions_.back().t_found_ns,
            came_down_since()};
}

std::optional<EventId> PhaseDetector::look_at(Cue cue) {
    for (const Rule& rule : rules()) {
        if (rule.from != phase_ || !has(rule.cue, cue)) continue;
        const MaybeFound found = rule.look(*this, sight());
        if (!found) continue;
        take(rule, *found);
        return rule.finds;
    }
    return std::nullopt;
}

void PhaseDetector::take(const Rule& rule, const Found& found) {
    const EventId event = rule.finds;
    if (event == EventId::ready_again) begin_next_flight();
    if (event == EventId::false_liftoff) transitions_.clear();
    if (event == EventId::apogee || event == EventId::joined_in_flight)
        silence_.set_ceiling(apogee_.ceiling_m(evidence_));
    if (event == EventId::signal_lost) {
        phase_before_silence_ = phase_;
        began_before_silence_ns_ = phase_began_ns_;
    }
    if (event == EventId::apogee && found.burnout) enter(EventId::burnout, *found.burnout, Phase::coasting);
    enter(event, found.when, rule.to.value_or(found.to.value_or(phase_before_silence_)));
    if (event == EventId::liftoff && found.burnout) enter(EventId::burnout, *found.burnout, Phase::coasting);
    if (event == EventId::signal_reacquired) phase_began_ns_ = began_before_silence_ns_;
    if (event == EventId::apogee) look_at(Cue::past_shocks);
}

void PhaseDetector::enter(EventId event, const TimeEstimate& when, Phase next) {
    // Steps of a flight stay in order: back-dating never passes the step before. Losing the signal is not such a step.
    std::int64_t t_ns = std::min(when.t_ns, evidence_.now_ns());
    for (std::size_t i = transitions_.size(); i-- > 0;) {
        if (transitions_[i].event > EventId::touchdown) continue;
        t_ns = std::max(t_ns, transitions_[i].t_ns);
        break;
    }
    phase_ = next;
    phase_began_ns_ = t_ns;
    // One of the two moments is off by as much as their order was.
    const double sigma_s = std::hypot(when.sigma_s, seconds_between(when.t_ns, t_ns));
    transitions_.push_back({event, t_ns, sigma_s, evidence_.now_ns(), next});
    ++found_count_;
    burnout_.begin(event);
    apogee_.begin(event);
    descent_.begin(event);
}

void PhaseDetector::begin_next_flight() {
    PhaseDetector fresh(evidence_.settings());
    fresh.evidence_ = std::move(evidence_);
    fresh.found_count_ = found_count_;
    fresh.liftoff_ = LiftoffWatch(evidence_.settings(), NextFlightWatch::kStands_s);
    *this = std::move(fresh);
}

std::optional<std::int64_t> PhaseDetector::time_of(EventId event) const noexcept {
    for (const Transition& found : transitions_)
        if (found.event == event) return found.t_ns;
    return std::nullopt;
}

/// Apogee; of a flight whose apogee nobody saw, when it was found coming down.
std::optional<std::int64_t> PhaseDetector::came_down_since() const noexcept {
    if (const auto apogee_ns = time_of(EventId::apogee)) return apogee_ns;
    return phase_ == Phase::coasting ? std::nullopt : time_of(EventId::joined_in_flight);
}

Motion PhaseDetector::motion() const noexcept {
    switch (phase_) {
    case Phase::on_rail:
    case Phase::down: return evidence_.moves_by_fixes() ? Motion::moving : Motion::rest;
    case Phase::under_thrust: return Motion::boost;
    case Phase::coasting: return Motion::coast;
    default: return Motion::descent;
    }
}

} // namespace turnstone::estimate
