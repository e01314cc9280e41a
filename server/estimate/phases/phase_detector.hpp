#pragma once
/// Which phase a flight is in, and when each began.
///
///   on_the_rail ── liftoff ──▶ under_thrust ── burnout ──▶ coasting ── apogee ──▶ falling
///   falling ── drogue_out ──▶ under_drogue ── main_out ──▶ under_main ── touchdown ──▶ down
///   down ── ready_again ──▶ on_the_rail
///   on_the_rail ── joined_in_flight ──▶ seen, the phase that its motion shows
///
///   under_thrust ── apogee ──▶ falling, when thrust was not seen to end
///   falling ── main_out ──▶ under_main, with one parachute
///   falling ── touchdown ──▶ down
///   under_drogue ── touchdown ──▶ down
///
///   under_thrust ── false_liftoff ──▶ on_the_rail
///   coasting ── false_liftoff ──▶ on_the_rail
///
///   under_thrust ── signal_lost ──▶ presumed_down
///   coasting ── signal_lost ──▶ presumed_down
///   falling ── signal_lost ──▶ presumed_down
///   under_drogue ── signal_lost ──▶ presumed_down
///   under_main ── signal_lost ──▶ presumed_down
///   presumed_down ── signal_reacquired ──▶ before, the phase before silence
///
/// Inputs: axial specific force and its magnitude, lateral body rate, heights from static pressure above the pad with
/// 1-sigma, and the vertical filter's estimate. Any of them may be missing (NaN, or never called): a barometer, an
/// inertial sensor or both give the same phases, with different uncertainties. The rules in phase_detector.cpp say
/// which watch looks in which phase at which cue, what that finds and where it leads; each watch says how it
/// looks. To add a step, add its watch, a rule and an arrow.
///
/// No randomness, no clock; samples older than the newest of their kind are ignored; NaN is ignored.
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "server/estimate/phases/apogee.hpp"
#include "server/estimate/phases/burnout.hpp"
#include "server/estimate/phases/descent.hpp"
#include "server/estimate/phases/evidence.hpp"
#include "server/estimate/phases/liftoff.hpp"
#include "server/estimate/phases/next_flight.hpp"
#include "server/estimate/phases/phase.hpp"
#include "server/estimate/phases/silence.hpp"
#include "server/estimate/phases/touchdown.hpp"

namespace turnstone::estimate {

/// What makes a watch look. A rule may name several.
enum class Cue : unsigned {
    sample = 1U << 0U,      ///< anything received
    force = 1U << 1U,       ///< a new inertial sample
    height = 1U << 2U,      ///< a new pressure altitude
    speed = 1U << 3U,       ///< a new estimate of the vertical filter
    pulse = 1U << 4U,       ///< a pulse of pressure
    time = 1U << 5U,        ///< time has passed
    rest = 1U << 6U,        ///< after each height; with time while the barometer is silent
    past_forces = 1U << 7U, ///< forces before a liftoff that was found by height
    past_shocks = 1U << 8U  ///< shocks before an apogee that was found just now
};
[[nodiscard]] constexpr Cue operator|(Cue a, Cue b) noexcept {
    return static_cast<Cue>(static_cast<unsigned>(a) | static_cast<unsigned>(b));
}
[[nodiscard]] constexpr bool has(Cue set, Cue one) noexcept {
    return (static_cast<unsigned>(set) & static_cast<unsigned>(one)) != 0;
}

class PhaseDetector {
  public:
    /// In phase `from`, at `cue`, `look`: what it finds is `finds` and leads to `to` (empty: the phase before
    /// the signal was lost).
    struct Rule {
        Phase from;
        Cue cue;
        MaybeFound (*look)(PhaseDetector& detector, const Sight& sight);
        EventId finds;
        std::optional<Phase> to;
    };
    [[nodiscard]] static std::span<const Rule> rules() noexcept;

    explicit PhaseDetector(const PhaseSettings& settings);

    void imu(const Force& force);
    void height(const HeightPoint& height);
    void vertical(const VerticalEstimate& estimate);
    void fix(const FixPoint& fix);
    /// A sudden jump of pressure that is not motion (the pulse of a charge).
    void pulse(std::int64_t t_ns);
    void tick(std::int64_t t_ns);
    /// The vehicle's computer rebooted.
    void reboot() noexcept { next_flight_.reboot(phase_ == Phase::down || phase_ == Phase::presumed_down); }

    [[nodiscard]] Phase phase() const noexcept { return phase_; }
    [[nodiscard]] std::int64_t phase_began_ns() const noexcept { return phase_began_ns_; }
    /// Everything found in this flight so far, in order.
    [[nodiscard]] const std::vector<Transition>& transitions() const noexcept { return transitions_; }
    /// How many were ever found, also in flights before; the newest of them are at the end of transitions().
    [[nodiscard]] std::uint64_t found_count() const noexcept { return found_count_; }
    [[nodiscard]] std::optional<std::int64_t> time_of(EventId event) const noexcept;
    [[nodiscard]] const LastSeen& last_seen() const noexcept { return silence_.last_seen(); }
    /// At rest as far as the sensors tell: the pad reference may follow.
    [[nodiscard]] bool quiet() const noexcept {
        return phase_ == Phase::on_rail && liftoff_.quiet() && !evidence_.moves_by_fixes();
    }
    [[nodiscard]] bool on_ground() const noexcept {
        return phase_ == Phase::on_rail || phase_ == Phase::down || phase_ == Phase::presumed_down;
    }
    [[nodiscard]] Motion motion() const noexcept;

  private:
    struct Rules; ///< the table

    /// Tries the rules of the phase that look at this, in order, until one finds something; returns what.
    std::optional<EventId> look_at(Cue cue);
    [[nodiscard]] std::optional<std::int64_t> came_down_since() const noexcept;
    [[nodiscard]] Sight sight() const noexcept;
    void take(const Rule& rule, const Found& found);
    void enter(EventId event, const TimeEstimate& when, Phase next);
    void begin_next_flight();

    FlightEvidence evidence_;
    LiftoffWatch liftoff_;
    BurnoutWatch burnout_;
    ApogeeWatch apogee_;
    DescentWatch descent_;
    TouchdownWatch touchdown_;
    SilenceWatch silence_;
    NextFlightWatch next_flight_;

    Phase phase_ = Phase::on_rail;
    std::int64_t phase_began_ns_ = 0;
    Phase phase_before_silence_ = Phase::on_rail;
    std::int64_t began_before_silence_ns_ = 0;
    std::vector<Transition> transitions_;
    std::uint64_t found_count_ = 0;
};

} // namespace turnstone::estimate
