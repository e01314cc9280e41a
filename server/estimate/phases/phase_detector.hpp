#pragma once
/// Which phase a flight is in, and when each began.
///
///             ┌────────────────────── ready_again ───────────────────────┐
///             ▼                                                          │
///   ┌──────────────┐ liftoff  ┌──────────────┐ burnout ┌──────────┐      │
///   │  on_rail     ├─────────▶│ under_thrust ├────────▶│ coasting │      │
///   └──────────────┘          └──────┬───────┘         └───┬──┬───┘      │
///             ▲                      │                     │  │ apogee   │
///             └──── false_liftoff ───┴─────────────────────┘  ▼          │
///   ┌──────────────┐ main_out ┌──────────────┐ drogue_out ┌─────────┐    │
///   │  under_main  │◀─────────┤ under_drogue │◀───────────┤ falling │    │
///   └──────┬───────┘          └──────┬───────┘            └────┬────┘    │
///          └─────── touchdown ───────┴────── touchdown ────────┴────▶ down
///
///   With one parachute its opening is main_out, from falling. Any phase in flight: signal_lost ──▶ presumed_down, and
///   signal_reacquired takes it back.
///
/// Inputs: axial specific force and its magnitude, lateral body rate, heights from static pressure above the pad with
/// 1-sigma, and the vertical filter's estimate. Any of them may be missing (NaN, or never called): a barometer, an
/// inertial sensor or both give the same phases, with different uncertainties. phase_detector.cpp says what is looked
/// for in each phase and by which sensor; each watch says how.
///
/// No randomness, no clock; samples older than the newest of their kind are ignored; NaN is ignored.
#include <cstdint>
#include <optional>
#include <vector>

#include "server/estimate/phases/apogee.hpp"
#include "server/estimate/phases/burnout.hpp"
#include "server/estimate/phases/descent.hpp"
#include "server/estimate/phases/evidence.hpp"
#include "server/estimate/phases/liftoff.hpp"
#include "server/estimate/phases/next_flight.hpp"
#include "server/estimate/phases/phase.hpp"
#include "server/estimate/phases/silence.hpp"

namespace turnstone::estimate {

class PhaseDetector {
  public:
    explicit PhaseDetector(const PhaseSettings& settings);

    void imu(const Force& force);
    void height(const HeightPoint& height);
    void vertical(const VerticalEstimate& estimate);
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
    [[nodiscard]] bool quiet() const noexcept { return phase_ == Phase::on_rail && liftoff_.quiet(); }
    [[nodiscard]] bool on_ground() const noexcept {
        return phase_ == Phase::on_rail || phase_ == Phase::down || phase_ == Phase::presumed_down;
    }
    [[nodiscard]] Motion motion() const noexcept;

  private:
    void hear_again();
    void take(const MaybeFound& found);
    void enter(EventId event, const TimeEstimate& when);
    void look_for_parachute();
    void look_for_touchdown();
    void begin_next_flight(const TimeEstimate& when);

    FlightEvidence evidence_;
    LiftoffWatch liftoff_;
    BurnoutWatch burnout_;
    ApogeeWatch apogee_;
    DescentWatch descent_;
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
