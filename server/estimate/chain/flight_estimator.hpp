#pragma once
/// Air data, vertical motion, phases, pulses and derived figures of one vehicle: where each measurement goes, and which
/// sensors to believe. The mathematics is in the classes it holds.
///
/// Order inside one inertial sample: sensor watch, phase detector, pulses, vertical filter; one pressure: sensor watch,
/// pad reference, air data, vertical filter, phase detector. After each the phase's kind of motion goes back to the
/// filter. Deterministic.
///
/// A sample that is NaN, or not newer than the newest of its sensor (duplicates, packets that overtook each other), is
/// dropped. A sensor that is out of range, is frozen, is stuck in a climb or is silent while others are heard
/// is announced as an alert and left out; phases and vertical motion go on with the other one. Where no barometer
/// works, the heights of fixes stand in for it in the phases.
#include <optional>

#include "server/estimate/air/pad_reference.hpp"
#include "server/estimate/chain/derived.hpp"
#include "server/estimate/chain/picture.hpp"
#include "server/estimate/measurements.hpp"
#include "server/estimate/phases/phase_detector.hpp"
#include "server/estimate/sensors/pulse_detector.hpp"
#include "server/estimate/sensors/sensor_watch.hpp"
#include "server/estimate/table.hpp"
#include "server/estimate/vertical/vertical_filter.hpp"
#include "server/estimate/vertical/vertical_input.hpp"
#include "shared/geodesy.hpp"
#include "shared/site.hpp"
#include "shared/vehicle.hpp"

namespace turnstone::estimate {

class FlightEstimator {
  public:
    /// Estimates of vertical motion are taken at most this often, by their own time.
    static constexpr double kVerticalPeriod_s = 0.02;

    /// What a measurement changed.
    struct News {
        bool air = false;
        std::optional<VerticalEstimate> vertical;
        std::optional<std::int64_t> phase_ns; ///< phase or figures, as of then
    };

    /// `vehicle` and `site` are read during construction only.
    FlightEstimator(const Vehicle& vehicle, const Site& site, bool has_accelerometer, bool has_pressure);

    /// Each reads `picture` as it was and updates its parts of it (phase, air, vertical, figures).
    News imu(const ImuSample& sample, FlightPicture& picture, EventSink& events);
    News pressure(const PressureSample& sample, FlightPicture& picture, EventSink& events);
    News fix(const FixSample& sample, FlightPicture& picture, EventSink& events);
    News tick(std::int64_t t_ns, FlightPicture& picture, EventSink& events);
    /// Where the accelerometer was seen to clip, or is said to.
    [[nodiscard]] double accel_range_mps2() const noexcept { return accelerometer_.watch.range(); }
    /// The vehicle's computer rebooted.
    void reboot() noexcept { phases_.reboot(); }
    /// See VerticalFilter.
    void leave_steps(ForwardPass<kVerticalStates>* pass) noexcept { filter_.leave_steps(pass); }
    [[nodiscard]] double reference_sigma_m() const noexcept { return filter_.reference_sigma_m(); }

    [[nodiscard]] const PhaseDetector& phases() const noexcept { return phases_; }
    [[nodiscard]] const DayAtmosphere& atmosphere() const noexcept { return pad_.atmosphere(); }

  private:
    struct Watched {
        SensorWatch watch;
        const char* role;
        SensorState announced = SensorState::unheard;
    };

    [[nodiscard]] bool heights_by_pressure(std::int64_t t_ns) const noexcept;
    void look_at_pad_height(std::int64_t t_ns, EventSink& events);
    void accelerate(const ImuSample& sample, const std::optional<TiltInput>& tilt);
    /// Mach and dynamic pressure from the speed against the air or, while that is unknown, from vertical speed.
    [[nodiscard]] AirSpeeds speeds_of(std::int64_t t_ns, const AirHeights& heights, const VerticalEstimate& vertical,
                                      const FlightPicture& picture) const;
    void update_figures(const News& news, FlightPicture& picture);
    void after_measurement(std::int64_t t_ns, News& news, FlightPicture& picture, EventSink& events);
    void take_height_results(EventSink& events);
    /// True when the vertical filter has been restarted for another flight.
    bool announce_transitions(News& news, EventSink& events);
    void announce(const Transition& found, EventSink& events);
    void announce(Watched& sensor, std::int64_t t_ns, EventSink& events);

    const SensorNoise sensors_;
    LocalFrame frame_; ///< at the pad
    bool has_accelerometer_;
    bool has_pressure_;
    double pressure_noise_pa_;
    PadReferenceTracker pad_;
    VerticalInput input_;
    VerticalFilter filter_;
    PhaseDetector phases_;
    PulseDetector pulses_;
    Derived derived_;
    Watched barometer_;
    Watched accelerometer_;
    std::uint64_t transitions_announced_ = 0;
    std::int64_t t_imu_ns_ = 0;
    std::int64_t t_pressure_ns_ = 0;
    std::int64_t t_fix_ns_ = 0;
    std::int64_t t_pad_fixes_ns_ = 0; ///< since when fixes come at rest; 0: they do not
    std::int64_t t_height_used_ns_ = 0;
    std::int64_t t_vertical_ns_ = 0; ///< newest that was shown, predicted or not
    std::int64_t t_figures_ns_ = 0;  ///< newest that maxima know
    std::int64_t t_phase_ns_ = 0;
    bool phase_known_ = false;
    bool stuck_announced_ = false;
    bool disagreement_announced_ = false;
    bool pad_height_announced_ = false;
};

} // namespace turnstone::estimate
