#include "server/estimate/phases/phase_detector.hpp"

#include <algorithm>

#include "server/estimate/phases/touchdown.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

PhaseDetector::PhaseDetector(const PhaseSettings& settings) : evidence_(settings), liftoff_(settings) {}

// What is looked for in each phase, by force, by height, by vertical speed, and with time.

void PhaseDetector::imu(const Force& force) {
    if (!evidence_.add(force)) return;
    hear_again();
    if (!on_ground() && phase_ != Phase::under_thrust) evidence_.look_for_shock(phase_ == Phase::coasting);
    switch (phase_) {
    case Phase::on_rail: take(liftoff_.force(evidence_)); break;
    case Phase::under_thrust:
    case Phase::coasting:
        take(liftoff_.withdrawal(evidence_, phase_began_ns_, transitions_.back().t_found_ns));
        if (phase_ == Phase::under_thrust)
            take(burnout_.force(force, evidence_, phase_began_ns_));
        else if (phase_ == Phase::coasting)
            take(apogee_.weight(evidence_, phase_began_ns_));
        break;
    case Phase::falling: look_for_parachute(); break;
    case Phase::under_drogue:
        if (!evidence_.barometer_alive()) take(descent_.main(evidence_, phase_began_ns_));
        break;
    case Phase::down: take(next_flight_.force(evidence_, phase_began_ns_)); break;
    case Phase::under_main:
    case Phase::presumed_down: break;
    }
}

void PhaseDetector::height(const HeightPoint& height) {
    if (!evidence_.add(height)) return;
    hear_again();
    switch (phase_) {
    case Phase::on_rail: {
        const MaybeFound found = liftoff_.height(evidence_);
        take(found);
        // Thrust may have ended before the climb was believed.
        const auto& forces = evidence_.forces();
        for (std::size_t i = forces.since(phase_began_ns_); found && i < forces.size() && phase_ == Phase::under_thrust;
             ++i)
            take(burnout_.force(forces[i], evidence_, phase_began_ns_));
        break;
    }
    case Phase::under_thrust:
        take(burnout_.height(evidence_, phase_began_ns_));
        take(apogee_.height(evidence_, phase_began_ns_, phase_ == Phase::under_thrust));
        break;
    case Phase::coasting: take(apogee_.height(evidence_, phase_began_ns_, false)); break;
    case Phase::falling: look_for_parachute(); break;
    case Phase::under_drogue: take(descent_.main(evidence_, phase_began_ns_)); break;
    case Phase::down: take(next_flight_.height(evidence_)); break;
    case Phase::under_main:
    case Phase::presumed_down: break;
    }
    look_for_touchdown();
}

void PhaseDetector::vertical(const VerticalEstimate& estimate) {
    if (!evidence_.add(estimate)) return;
    const bool powered = phase_ == Phase::under_thrust;
    if (powered || phase_ == Phase::coasting) take(apogee_.speed(evidence_, phase_began_ns_, powered));
}

void PhaseDetector::pulse(std::int64_t t_ns) {
    if (!on_ground() && evidence_.add_pulse(t_ns) && phase_ == Phase::falling) look_for_parachute();
}

void PhaseDetector::tick(std::int64_t t_ns) {
    evidence_.pass_time(t_ns);
    if (!evidence_.barometer_alive()) look_for_touchdown();
    if (!on_ground()) take(silence_.tick(evidence_, phase_));
}

void PhaseDetector::look_for_parachute() {
    if (const auto apogee_ns = time_of(EventId::apogee)) take(descent_.first(evidence_, *apogee_ns));
}

void PhaseDetector::look_for_touchdown() {
    if (phase_ != Phase::falling && phase_ != Phase::under_drogue && phase_ != Phase::under_main) return;
    if (const auto apogee_ns = time_of(EventId::apogee)) take(find_touchdown(evidence_, *apogee_ns, phase_began_ns_));
}

void PhaseDetector::hear_again() {
    if (phase_ == Phase::presumed_down) take(Found{EventId::signal_reacquired, {evidence_.now_ns(), 0.0}});
}

// What follows from a find.

void PhaseDetector::take(const MaybeFound& found) {
    if (!found) return;
    switch (found->event) {
    case EventId::liftoff:
        enter(EventId::liftoff, found->when);
        if (!found->burnout) break;
        enter(EventId::burnout, *found->burnout);
        apogee_.begin_coast();
        break;
    case EventId::burnout:
        enter(EventId::burnout, found->when);
        apogee_.begin_coast();
        break;
    case EventId::apogee:
        if (found->burnout) enter(EventId::burnout, *found->burnout);
        enter(EventId::apogee, found->when);
        silence_.set_ceiling(apogee_.ceiling_m(evidence_));
        descent_.begin_descent();
        look_for_parachute();
        break;
    case EventId::drogue_out:
    case EventId::main_out:
        enter(found->event, found->when);
        descent_.begin_descent();
        break;
    case EventId::false_liftoff:
        transitions_.clear();
        enter(EventId::false_liftoff, found->when);
        break;
    case EventId::signal_lost:
        phase_before_silence_ = phase_;
        began_before_silence_ns_ = phase_began_ns_;
        enter(EventId::signal_lost, found->when);
        break;
    case EventId::signal_reacquired:
        enter(EventId::signal_reacquired, found->when);
        phase_began_ns_ = began_before_silence_ns_;
        break;
    case EventId::ready_again: begin_next_flight(found->when); break;
    default: enter(found->event, found->when); break;
    }
}

void PhaseDetector::enter(EventId event, const TimeEstimate& when) {
    const Phase next = [&] {
        switch (event) {
        case EventId::liftoff: return Phase::under_thrust;
        case EventId::burnout: return Phase::coasting;
        case EventId::apogee: return Phase::falling;
        case EventId::drogue_out: return Phase::under_drogue;
        case EventId::main_out: return Phase::under_main;
        case EventId::touchdown: return Phase::down;
        case EventId::signal_lost: return Phase::presumed_down;
        case EventId::signal_reacquired: return phase_before_silence_;
        default: return Phase::on_rail; // false_liftoff, ready_again
        }
    }();
    // Steps of a flight stay in order: back-dating never passes the step before. Losing the signal is not such a step.
    std::int64_t t_ns = std::min(when.t_ns, evidence_.now_ns());
    for (std::size_t i = transitions_.size(); i-- > 0;) {
        if (transitions_[i].event > EventId::touchdown) continue;
        t_ns = std::max(t_ns, transitions_[i].t_ns);
        break;
    }
    phase_ = next;
    phase_began_ns_ = t_ns;
    transitions_.push_back({event, t_ns, when.sigma_s, evidence_.now_ns(), next});
    ++found_count_;
    burnout_ = BurnoutWatch();
    apogee_.begin_phase();
    descent_.begin_phase();
}

void PhaseDetector::begin_next_flight(const TimeEstimate& when) {
    PhaseDetector fresh(evidence_.settings());
    fresh.evidence_.hear(evidence_.now_ns());
    fresh.found_count_ = found_count_;
    fresh.liftoff_ = LiftoffWatch(evidence_.settings(), NextFlightWatch::kStands_s);
    *this = std::move(fresh);
    enter(EventId::ready_again, when);
}

std::optional<std::int64_t> PhaseDetector::time_of(EventId event) const noexcept {
    for (const Transition& found : transitions_)
        if (found.event == event) return found.t_ns;
    return std::nullopt;
}

Motion PhaseDetector::motion() const noexcept {
    switch (phase_) {
    case Phase::on_rail:
    case Phase::down: return Motion::rest;
    case Phase::under_thrust: return Motion::boost;
    case Phase::coasting: return Motion::coast;
    default: return Motion::descent;
    }
}

} // namespace turnstone::estimate
