#pragma once
/// Turns a vehicle's wrapping counter into one time that only grows. Tells a rollover, a reboot and a late packet
/// apart: all three make the counter jump back.
///
/// Judged against the newest packet of the same boot, by how far the counter moved and how much station time
/// went by:
///   - forward (modulo the rollover), no further than station time allows: advance, or rollover when the
///   counter wrapped; after a silence longer than the rollover with the whole turns that station time shows;
///   - back, and the counter is not older than the silence before it (give or take what packets overtake one another
///   by): reset;
///   - back otherwise: late;
///   - forward further than station time allows: implausible. Believed only when a run of packets agrees with
///   it.
/// What another station heard before the newest packet was heard is late, however much of it comes.
///
/// A run of packets that agree with each other and not with the newest packet wins in the end, if nothing else comes.
/// Otherwise one wrong reading would lock the vehicle out.
#include <cstdint>

namespace turnstone {

enum class ClockVerdict : unsigned char {
    first,
    advance,
    repeat, ///< the same counter value again
    late,   ///< older than the newest of its boot
    rollover,
    reset,      ///< the on-board computer restarted
    jump,       ///< the counter moved on without reset, further than time went by, and stayed there
    implausible ///< not believed: corrupt, or another vehicle
};

struct ClockReading {
    ClockVerdict verdict;
    bool ambiguous;          ///< a rollover that might also be a reset, or be of another number of turns
    std::int64_t onboard_ns; ///< unwrapped; -1: unknown (implausible)
    std::uint32_t boot;      ///< resets seen before this packet
};

class OnboardClock {
  public:
    /// `rollover_ns` > 0: after which the counter starts at zero again.
    explicit OnboardClock(double rollover_ns);

    /// `counter_ns` in [0, rollover). `t_heard_ns`: when a station received it; goes back only where several do.
    [[nodiscard]] ClockReading read(std::uint64_t counter_ns, std::int64_t t_heard_ns) noexcept;
    [[nodiscard]] std::uint32_t boots() const noexcept { return boot_; }

  private:
    struct Anchor {
        std::int64_t raw_ns = 0;
        std::int64_t unwrapped_ns = 0;
        std::int64_t t_heard_ns = 0;
    };
    [[nodiscard]] std::int64_t signed_step(std::int64_t from_raw_ns, std::int64_t to_raw_ns) const noexcept;
    /// `step_ns` with the whole turns of the counter that fit better into the station time elapsed.
    [[nodiscard]] std::int64_t long_step(std::int64_t step_ns, std::int64_t elapsed_ns) const noexcept;
    [[nodiscard]] ClockReading doubt(ClockReading reading, std::int64_t raw_ns, std::int64_t t_heard_ns) noexcept;
    [[nodiscard]] ClockReading restart(ClockVerdict verdict, std::int64_t raw_ns, std::int64_t t_heard_ns) noexcept;

    std::int64_t rollover_ns_;
    bool started_ = false;
    std::int64_t t_heard_ns_ = 0; ///< the newest of all packets, whatever became of them
    std::uint32_t boot_ = 0;
    Anchor newest_;
    Anchor before_reset_; ///< newest of the boot before; used only after a reset
    Anchor rival_first_;  ///< run of packets that disagree with newest_
    Anchor rival_last_;
    unsigned rival_count_ = 0; ///< 0: no such run
};

} // namespace turnstone
