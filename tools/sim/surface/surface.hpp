#pragma once
/// The machines around a rocket: a recovery boat with an engine and a weather station at the pad. Both say NMEA 0183
/// sentences, each on a link of its own. Small models, the same for a seed; invented figures but for where one is
/// named.
#include <array>
#include <cstdint>
#include <string>
#include <vector>

#include "shared/site.hpp"
#include "tools/sim/radio/impairment.hpp"
#include "tools/sim/truth/gusts.hpp"
#include "tools/sim/truth/random.hpp"

namespace turnstone::sim {

/// Sentences of the whole run, one delivery each, at 38400 bit/s: what sender.hpp plays.
using SurfaceStream = DeliveredStream;

struct BoatState {
    double engine_rpm = 0;
    double coolant_k, exhaust_k;
    double oil_pa = 0;
    double battery_v = 12.6;
    double fuel_percent = 72;
    double speed_mps = 0, course_deg = 40;
    double east_m, north_m; ///< from the pad
};

/// Idle is near 900 per minute, as of small boats' engines (common practice, no source). The engine starts after
/// kStart_s, idles for kIdle_s, then drives the boat at sea around its waiting place; every kRound_s it idles again.
class Boat {
  public:
    static constexpr double kStart_s = 15, kIdle_s = 75, kRound_s = 600;
    Boat(const Site& site, std::uint64_t seed);
    /// Moves on to `t_s`, in steps of a second at most.
    void advance(double t_s);
    [[nodiscard]] const BoatState& state() const noexcept { return state_; }
    /// What is wrong: the cooling stops at this time; NaN: never.
    double cooling_fails_s;

  private:
    Random random_;
    BoatState state_;
    double t_s_ = 0;
    double ambient_k_;
};

/// `utc_s`: since 1970-01-01, of the run's start.
[[nodiscard]] SurfaceStream boat_stream(const Site& site, std::uint64_t seed, double utc_s, double for_s,
                                        double cooling_fails_s);

/// The wind of the site file at the ground with gusts of the simulator's air (gusts.hpp), pressure and temperature that
/// drift slowly.
[[nodiscard]] SurfaceStream weather_stream(const Site& site, std::uint64_t seed, double for_s);

} // namespace turnstone::sim
