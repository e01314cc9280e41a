#pragma once
/// The newest forces, pressure altitudes, vertical speeds and shocks of a flight, and questions about them. The watches
/// (liftoff.hpp to next_flight.hpp) read it; none keeps samples of its own.
#include <cstdint>
#include <optional>

#include "server/estimate/math/history.hpp"
#include "server/estimate/vertical/vertical_filter.hpp"
#include "shared/constants.hpp"

namespace turnstone::estimate {

struct PhaseSettings {
    double gravity_mps2 = kGravityStandard_mps2;
    double accel_noise_mps2 = 0.3;
    double accel_bias_mps2 = 0.3;
    /// Parachutes in order of use; with one only, the main follows apogee directly.
    int parachutes = 2;
    /// How long after the bend of the climb thrust ends, and 1-sigma (climb_bend.hpp).
    double bend_to_burnout_s = 0.1;
    double bend_to_burnout_sigma_s = 0.1;
};

/// A moment, and how well it is known.
struct TimeEstimate {
    std::int64_t t_ns;
    double sigma_s;
};

/// Specific force and turning of one inertial sample.
struct Force {
    std::int64_t t_ns;
    double axial_mps2;
    double magnitude_mps2;     ///< NaN without all axes
    double lateral_rate_radps; ///< NaN without a gyro
    /// The magnitude or, without all axes, the axial force.
    [[nodiscard]] double size_mps2() const noexcept;
};
struct HeightPoint {
    std::int64_t t_ns;
    double above_pad_m; ///< from static pressure; from fixes where no barometer works
    double sigma_m;
    bool by_fix = false;
};
/// What a fix says of motion.
struct FixPoint {
    std::int64_t t_ns;
    double east_m, north_m; ///< from the pad
    double sigma_m;         ///< of each
    double speed_mps;       ///< in space; NaN: not told
    double speed_sigma_mps;
};
struct SpeedPoint { ///< by the vertical filter
    std::int64_t t_ns;
    double speed_mps;
    double sigma_mps;
    double accel_mps2;
    double height_m;
    double height_sigma_m;
};
struct Shock {
    std::int64_t t_ns; ///< onset
    std::int64_t t_last_ns;
    double sigma_s; ///< of the onset
};
/// Through pressure altitudes, at the newest of them.
struct Line {
    double height_m;
    double speed_mps;
    double spread_m; ///< rms of residuals
    int points;
};

class FlightEvidence {
  public:
    explicit FlightEvidence(const PhaseSettings& settings);

    // False: older than the newest of its kind, or NaN; ignored.
    bool add(const Force& force);
    bool add(const HeightPoint& height);
    bool add(const VerticalEstimate& estimate);
    bool add(const FixPoint& fix);
    /// Looks for a shock at the newest force. `in_drag`: drag may be as strong as a shock, but does not set in
    /// suddenly.
    void look_for_shock(bool in_drag);
    /// A sudden jump of pressure that is not motion (the pulse of a charge). False: part of the last shock.
    bool add_pulse(std::int64_t t_ns);
    void pass_time(std::int64_t t_ns) noexcept;
    /// Something was received.
    void hear(std::int64_t t_ns) noexcept;

    [[nodiscard]] const PhaseSettings& settings() const noexcept { return settings_; }
    [[nodiscard]] std::int64_t now_ns() const noexcept { return now_ns_; }
    /// Newest sample of any sensor.
    [[nodiscard]] std::int64_t heard_ns() const noexcept { return heard_ns_; }
    [[nodiscard]] const History<Force>& forces() const noexcept { return forces_; }
    [[nodiscard]] const History<HeightPoint>& heights() const noexcept { return heights_; }
    [[nodiscard]] const History<SpeedPoint>& speeds() const noexcept { return speeds_; }
    [[nodiscard]] const History<Shock>& shocks() const noexcept { return shocks_; }

    // Times that follow from how often the sensors of this vehicle are heard.
    //
    /// From height to height, and from inertial sample to sample, when none is lost; 0: not known.
    [[nodiscard]] double height_period_s() const noexcept { return height_period_s_; }
    [[nodiscard]] double force_period_s() const noexcept { return force_period_s_; }
    /// At least `least_s`, and long enough for `heights` heights.
    [[nodiscard]] double window_s(double least_s, double heights) const noexcept;
    /// How many heights such a window should hold at the rate they come, at most `most`, at least three.
    [[nodiscard]] int heights_in(double window_s, int most) const noexcept;
    /// A gap in reception longer than a few lost packets, of the sensor heard most often.
    [[nodiscard]] double fade_s() const noexcept;
    /// A gap of inertial samples across which a step is still dated by the samples: two packets of four at 200 Hz.
    [[nodiscard]] double seen_gap_s() const noexcept;
    [[nodiscard]] double lost_packet_s() const noexcept;

    /// How far a force may be from gravity on a vehicle at rest: `least_mps2`, or what bias and noise allow.
    [[nodiscard]] double rest_force_mps2(double least_mps2) const noexcept;
    /// Healthy fixes show speed, or distance from where it stood, beyond their sigmas.
    [[nodiscard]] bool moves_by_fixes() const noexcept;
    [[nodiscard]] bool barometer_alive() const noexcept;
    /// Silent for too long to be a fade, while inertial samples come.
    [[nodiscard]] bool barometer_gone() const noexcept;
    [[nodiscard]] bool inertial_alive() const noexcept;
    /// Magnitude (or axial force) steady over the window, and as large as gravity when all axes are there.
    [[nodiscard]] bool inertial_at_rest(double window_s, double spread_mps2) const;
    /// Feels its own weight, by the forces of the last two seconds: a parachute carries it.
    [[nodiscard]] bool hangs() const;
    /// Of the lateral rate, rad/s; NaN without a gyro or a sample.
    [[nodiscard]] double mean_rate_radps(std::int64_t from_ns, std::int64_t to_ns) const;
    [[nodiscard]] std::optional<double> mean_height_m(std::int64_t from_ns, std::int64_t to_ns) const;
    [[nodiscard]] std::optional<Line> line_through_heights(std::int64_t from_ns, std::int64_t to_ns) const;
    /// The first fade of the sensor heard most often: what happened unseen happened there.
    [[nodiscard]] std::optional<TimeEstimate> fade_between(std::int64_t from_ns, std::int64_t to_ns) const;

  private:
    [[nodiscard]] bool fills(std::size_t count, double window_s) const noexcept;

    PhaseSettings settings_;
    std::int64_t now_ns_ = 0;
    std::int64_t heard_ns_ = 0;
    History<Force> forces_{2048};
    History<HeightPoint> heights_{1024};
    History<SpeedPoint> speeds_{1024};
    History<Shock> shocks_{64};
    double height_period_s_ = 0;
    double force_period_s_ = 0;
    /// Where the fixes say that it stands, and whether it does.
    struct Stand {
        std::int64_t t_fix_ns = 0;
        std::int64_t since_ns = 0; ///< of fixes without a gap
        std::int64_t t_fast_ns = 0, t_slow_ns = 0;
        double east_m = 0, north_m = 0;
        int fast = 0; ///< fixes in a row
        bool placed = false, moves = false;
    };
    Stand stand_;
};

} // namespace turnstone::estimate
