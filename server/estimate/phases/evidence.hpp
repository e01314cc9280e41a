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
    double above_pad_m; ///< from static pressure
    double sigma_m;
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
    static constexpr double kFade_s = 0.3;     ///< a gap in reception longer than a few lost packets
    static constexpr double kSeenGap_s = 0.06; ///< two packets of four samples at 200 Hz: dated by the samples
    static constexpr double kLostPacket_s = 0.012;

    explicit FlightEvidence(const PhaseSettings& settings);

    // False: older than the newest of its kind, or NaN; ignored.
    bool add(const Force& force);
    bool add(const HeightPoint& height);
    bool add(const VerticalEstimate& estimate);
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
    PhaseSettings settings_;
    std::int64_t now_ns_ = 0;
    std::int64_t heard_ns_ = 0;
    History<Force> forces_{2048};
    History<HeightPoint> heights_{1024};
    History<SpeedPoint> speeds_{1024};
    History<Shock> shocks_{64};
};

} // namespace turnstone::estimate
