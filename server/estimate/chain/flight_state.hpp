#pragma once
/// Air data, vertical filter, phases, pulses and derived figures of one vehicle: which measurement goes where, what is
/// announced, and the tables "air", "vertical", "phase" and "derived". The mathematics is in the classes it holds.
///
/// Order inside one inertial sample: sensor watch, phase detector, vertical filter; one pressure: sensor watch, pad
/// reference, air data, vertical filter, phase detector. After each the phase's kind of motion goes back to the filter.
/// Rows: "air" for each usable pressure, "vertical" at most every kRowPeriod_s of its own time, "phase" at each change
/// and every second. Deterministic.
///
/// A sample that is NaN, or not newer than the newest of its sensor (copies, packets that overtook each other), is
/// dropped. A sensor that shows what cannot be, repeats one value, stands still in a climb or is silent while others
/// are heard is announced as an alert and left out; phases and vertical motion go on with the other one.
#include <optional>
#include <vector>

#include "server/estimate/air/air_data.hpp"
#include "server/estimate/air/pad_reference.hpp"
#include "server/estimate/chain/derived.hpp"
#include "server/estimate/measurements.hpp"
#include "server/estimate/phases/phase_detector.hpp"
#include "server/estimate/sensors/pulse_detector.hpp"
#include "server/estimate/sensors/sensor_watch.hpp"
#include "server/estimate/table.hpp"
#include "server/estimate/vertical/vertical_filter.hpp"
#include "server/estimate/vertical/vertical_input.hpp"
#include "shared/site.hpp"
#include "shared/vehicle.hpp"

namespace turnstone {

class FlightState {
  public:
    static constexpr double kRowPeriod_s = 0.02;

    /// `vehicle` and `site` are read during construction only. Appends its tables to `tables`.
    FlightState(const Vehicle& vehicle, const Site& site, bool has_accelerometer, bool has_pressure,
                std::vector<EstimateTable>& tables);

    /// `tilt`: which way is up, when an attitude estimate knows. `air_speed_mps`, `air_speed_sigma_mps` likewise, NaN
    /// when unknown; Mach and dynamic pressure then come from vertical speed.
    void imu(const ImuSample& sample, const std::optional<TiltInput>& tilt, EstimateSink& sink);
    /// Returns whether the pressure was usable.
    bool pressure(const PressureSample& sample, double air_speed_mps, double air_speed_sigma_mps, EstimateSink& sink);
    /// Horizontal distance from the pad to the newest fix, m.
    void ground_distance(double distance_m) noexcept { derived_.ground_distance(distance_m); }
    void tick(std::int64_t t_ns, EstimateSink& sink);
    /// The vehicle's computer started anew.
    void reboot() noexcept { phases_.reboot(); }

    [[nodiscard]] const PhaseDetector& phases() const noexcept { return phases_; }
    [[nodiscard]] VerticalEstimate vertical() const { return filter_.estimate(); }
    /// The same as shown: the filter knows its heights' noise; that the day's lapse is unknown scales all of them
    /// together.
    [[nodiscard]] VerticalEstimate stated() const;
    [[nodiscard]] const DayAtmosphere& atmosphere() const noexcept { return pad_.atmosphere(); }
    /// Of the newest usable pressure; empty before one.
    [[nodiscard]] const std::optional<AirHeights>& air() const noexcept { return air_; }
    [[nodiscard]] const std::optional<AirSpeeds>& air_speed() const noexcept { return air_speed_; }

  private:
    struct Watched {
        SensorWatch watch;
        SensorState announced = SensorState::unheard;
        const char* role;
        const char* name;
    };

    void after_measurement(std::int64_t t_ns, EstimateSink& sink);
    void take_height_results(EstimateSink& sink);
    void announce_moments(EstimateSink& sink);
    void announce_moment(const FoundMoment& found, EstimateSink& sink);
    void announce_sensor(Watched& sensor, std::int64_t t_ns, EstimateSink& sink);
    void announce_shock(const Pulse& pulse, EstimateSink& sink);
    void announce_blow(const Pulse& pulse, EstimateSink& sink);
    void vertical_row(EstimateSink& sink);
    void phase_row(std::int64_t t_ns, EstimateSink& sink);

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
    std::optional<AirHeights> air_;
    std::optional<AirSpeeds> air_speed_;
    std::size_t air_table_ = 0;
    std::size_t vertical_table_ = 0;
    std::size_t phase_table_ = 0;
    std::size_t derived_table_ = 0;
    std::uint64_t moments_announced_ = 0;
    std::int64_t t_imu_ns_ = 0;
    std::int64_t t_pressure_ns_ = 0;
    std::int64_t t_height_used_ns_ = 0;
    std::int64_t t_vertical_row_ns_ = 0;
    std::int64_t t_phase_row_ns_ = 0;
    bool phase_known_ = false;
    bool stuck_announced_ = false;
    bool disagreement_announced_ = false;
};

} // namespace turnstone
