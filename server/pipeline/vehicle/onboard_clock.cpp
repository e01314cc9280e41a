#include "server/pipeline/vehicle/onboard_clock.hpp"

#include <algorithm>
#include <limits>

#include "shared/time.hpp"

namespace turnstone {

namespace {

// A packet may have waited this much longer than the next one before the step forward looks wrong.
constexpr std::int64_t kForwardSlackNs = 2 * kNsPerS;
// A microcontroller's oscillator without a crystal is within 2 %.
constexpr std::int64_t kRateSlackDivisor = 50;
// By so much packets of several sensors overtake one another.
constexpr std::int64_t kOvertakenNs = kNsPerS / 4;
// How much longer than the first packet after a boot the last one before it may have waited on the way.
constexpr std::int64_t kResetSlackNs = kNsPerS / 4;
// A packet of the boot before may come this long after the reset was seen.
constexpr std::int64_t kStragglerNs = 10 * kNsPerS;
constexpr unsigned kRivalPackets = 20;
// On-board time a rival run must cover. Backward it is longer: when a slower link takes over from a faster one, it
// sends old packets for as long as it lags.
constexpr std::int64_t kRivalForwardNs = kNsPerS;
constexpr std::int64_t kRivalBackwardNs = 5 * kNsPerS;

constexpr bool step_fits(std::int64_t step_ns, std::int64_t elapsed_ns) noexcept {
    return step_ns <= elapsed_ns + elapsed_ns / kRateSlackDivisor + kForwardSlackNs;
}

/// A packet that was heard before another, and is older than that by as much.
constexpr bool is_as_old(std::int64_t step_ns, std::int64_t elapsed_ns) noexcept {
    const std::int64_t off_ns = step_ns > elapsed_ns ? step_ns - elapsed_ns : elapsed_ns - step_ns;
    return elapsed_ns < 0 && off_ns <= kForwardSlackNs - elapsed_ns / kRateSlackDivisor;
}

} // namespace

OnboardClock::OnboardClock(double rollover_ns)
    : rollover_ns_(rollover_ns < 9.0e18 ? static_cast<std::int64_t>(rollover_ns)
                                        : std::numeric_limits<std::int64_t>::max()) {}

std::int64_t OnboardClock::signed_step(std::int64_t from_raw_ns, std::int64_t to_raw_ns) const noexcept {
    const std::int64_t step = to_raw_ns - from_raw_ns;
    if (step > rollover_ns_ / 2) return step - rollover_ns_;
    if (step < -(rollover_ns_ / 2)) return step + rollover_ns_;
    return step;
}

ClockReading OnboardClock::restart(ClockVerdict verdict, std::int64_t raw_ns, std::int64_t t_heard_ns) noexcept {
    if (verdict == ClockVerdict::reset) {
        before_reset_ = newest_;
        ++boot_;
    }
    // A clock that jumped is still of its boot: what is newer there must not read as older.
    std::int64_t unwrapped_ns = raw_ns;
    if (verdict == ClockVerdict::jump) {
        const std::int64_t step_ns = raw_ns - newest_.raw_ns;
        unwrapped_ns = newest_.unwrapped_ns + (step_ns < 0 ? step_ns + rollover_ns_ : step_ns);
    }
    newest_ = {raw_ns, unwrapped_ns, t_heard_ns};
    rival_count_ = 0;
    return {verdict, false, unwrapped_ns, boot_};
}

std::int64_t OnboardClock::long_step(std::int64_t step_ns, std::int64_t elapsed_ns) const noexcept {
    const std::int64_t missing_ns = elapsed_ns - step_ns;
    if (missing_ns < rollover_ns_ / 2) return step_ns;
    const std::int64_t turns = (missing_ns - rollover_ns_ / 2) / rollover_ns_ + 1;
    const std::int64_t turned_ns = step_ns + turns * rollover_ns_;
    return step_fits(turned_ns, elapsed_ns) ? turned_ns : step_ns;
}

ClockReading OnboardClock::doubt(ClockReading reading, std::int64_t raw_ns, std::int64_t t_heard_ns) noexcept {
    const std::int64_t step_ns = rival_count_ > 0 ? signed_step(rival_last_.raw_ns, raw_ns) : 0;
    // Its packets overtake one another too.
    const bool agrees =
        rival_count_ > 0 && step_ns >= -kOvertakenNs && step_fits(step_ns, t_heard_ns - rival_last_.t_heard_ns);
    if (!agrees || step_ns >= 0) rival_last_ = {raw_ns, raw_ns, t_heard_ns};
    if (!agrees) {
        rival_first_ = rival_last_;
        rival_count_ = 1;
        return reading;
    }
    ++rival_count_;
    if (step_ns < 0) return reading;
    const bool backward = reading.verdict == ClockVerdict::late;
    const std::int64_t covered_ns = signed_step(rival_first_.raw_ns, raw_ns);
    if (rival_count_ < kRivalPackets || covered_ns < (backward ? kRivalBackwardNs : kRivalForwardNs)) return reading;
    return restart(backward ? ClockVerdict::reset : ClockVerdict::jump, raw_ns, t_heard_ns);
}

ClockReading OnboardClock::read(std::uint64_t counter_ns, std::int64_t t_heard_ns) noexcept {
    const auto raw_ns = static_cast<std::int64_t>(counter_ns % static_cast<std::uint64_t>(rollover_ns_));
    if (!started_) {
        started_ = true;
        t_heard_ns_ = t_heard_ns;
        return restart(ClockVerdict::first, raw_ns, t_heard_ns);
    }
    const std::int64_t elapsed_ns = t_heard_ns - newest_.t_heard_ns;
    const std::int64_t short_step_ns = signed_step(newest_.raw_ns, raw_ns);
    // A counter that is heard all the time cannot have gone round unseen: one that is stuck must stay so.
    const bool silence = t_heard_ns - t_heard_ns_ >= rollover_ns_ / 2;
    t_heard_ns_ = std::max(t_heard_ns_, t_heard_ns);
    const std::int64_t step_ns = silence ? long_step(short_step_ns, elapsed_ns) : short_step_ns;
    const bool whole_turns = step_ns != short_step_ns;
    const bool wrapped_or_reset = raw_ns < newest_.raw_ns;
    // Packets of several sensors overtake one another. Shortly after a boot an older one would read as a boot of its
    // own, since the slack covers its whole age. A computer that restarts twice within half a second is not told apart
    // from that.
    const bool overtaken = newest_.raw_ns - raw_ns <= kOvertakenNs && elapsed_ns <= kOvertakenNs;
    const bool reset_fits = wrapped_or_reset && !overtaken && raw_ns <= elapsed_ns + kResetSlackNs;

    if (step_ns == 0) {
        rival_count_ = 0;
        return {ClockVerdict::repeat, false, newest_.unwrapped_ns, boot_};
    }
    if (step_ns > 0 && step_fits(step_ns, elapsed_ns)) {
        newest_ = {raw_ns, newest_.unwrapped_ns + step_ns, t_heard_ns};
        rival_count_ = 0;
        const bool ambiguous = whole_turns || (reset_fits && elapsed_ns - step_ns > kForwardSlackNs);
        return {whole_turns || wrapped_or_reset ? ClockVerdict::rollover : ClockVerdict::advance, ambiguous,
                newest_.unwrapped_ns, boot_};
    }
    if (reset_fits) return restart(ClockVerdict::reset, raw_ns, t_heard_ns);

    const std::int64_t since_before_ns = t_heard_ns - before_reset_.t_heard_ns;
    if (boot_ > 0 && since_before_ns < kStragglerNs) {
        // Another link may have heard more of the boot before than the one that showed the reset.
        const std::int64_t on_ns = signed_step(before_reset_.raw_ns, raw_ns);
        const std::int64_t unwrapped_ns = before_reset_.unwrapped_ns + on_ns;
        const bool is_recent = on_ns > -kStragglerNs && on_ns <= since_before_ns + kResetSlackNs;
        if ((is_recent || is_as_old(on_ns, since_before_ns)) && unwrapped_ns >= 0)
            return {ClockVerdict::late, false, unwrapped_ns, boot_ - 1};
    }
    const std::int64_t unwrapped_ns = newest_.unwrapped_ns + step_ns;
    if (step_ns < 0 && unwrapped_ns >= 0 && is_as_old(step_ns, elapsed_ns))
        return {ClockVerdict::late, false, unwrapped_ns, boot_};
    if (step_ns < 0 && unwrapped_ns >= 0)
        return doubt({ClockVerdict::late, false, unwrapped_ns, boot_}, raw_ns, t_heard_ns);
    return doubt({ClockVerdict::implausible, false, -1, boot_}, raw_ns, t_heard_ns);
}

} // namespace turnstone
