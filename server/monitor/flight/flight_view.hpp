#pragma once
/// One vehicle's newest figures in plain numbers, each with the time of the newest measurement behind it.
///
/// A row of an estimate that is later than everything its sensors have measured is a computation: it changes nothing
/// here, and the figure measured last stays, with its age. One quantity has one best source at a moment: navigation or
/// translation while fixes aid it, else the vertical filter, else air data. A source without a row for kSourceStale_s
/// of what is measured gives way to the next.
#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "server/estimate/phases/phase.hpp"
#include "server/estimate/prediction/landing_case.hpp"
#include "server/pipeline/batch.hpp"
#include "server/pipeline/series.hpp"
#include "shared/constants.hpp"

namespace turnstone {

/// NaN: none.
struct Figure {
    double value = kNaN;
    double sigma = kNaN;
    std::int64_t t_ns = 0; ///< of the newest measurement behind it; 0: none
    [[nodiscard]] bool known() const noexcept { return value == value; }
};

enum class MotionSource : unsigned char { none, air, vertical, navigation };

/// Relative to the pad.
struct Place {
    double east_m = kNaN, north_m = kNaN;
    double sigma_m = kNaN; ///< of each
    double up_m = kNaN;
    double latitude_deg = kNaN, longitude_deg = kNaN, altitude_msl_m = kNaN;
    double velocity_east_mps = kNaN, velocity_north_mps = kNaN;
    std::int64_t t_ns = 0; ///< of the newest fix in it; 0: none
    [[nodiscard]] bool known() const noexcept { return t_ns != 0; }
    [[nodiscard]] double distance_m() const noexcept;
    [[nodiscard]] double bearing_deg() const noexcept; ///< from the pad, true
};

struct ApogeePrediction {
    Figure apogee_m;
    std::int64_t at_ns = 0; ///< when it will be; 0: not predicted in flight
};

struct LandingPrediction {
    double probability = kNaN;
    double east_m = kNaN, north_m = kNaN;
    double semi_major_m = kNaN; ///< of the 95 % ellipse
    std::int64_t at_ns = 0;     ///< of landing
};

struct FlightView {
    std::int64_t t_ns = 0; ///< of the tick
    bool flies = false;    ///< its flight has phases: a rocket with a sensor that shows them
    // Newest measurement of a kind, and when anything was last received; 0: never.
    std::int64_t t_height_ns = 0, t_inertial_ns = 0, t_fix_ns = 0;
    std::int64_t t_measured_ns = 0; ///< the newest of the three
    std::int64_t t_received_ns = 0;
    bool sends_fixes = false;     ///< its packets have a place for them
    std::int64_t t_no_fix_ns = 0; ///< of the newest packet in which the receiver says that it has none; 0: never
    /// Silence before what was received last, in seconds, and when it ended.
    double silence_s = 0;
    std::int64_t t_silence_end_ns = 0;

    estimate::Phase phase = estimate::Phase::on_rail;
    std::int64_t phase_began_ns = 0;
    std::optional<std::int64_t> liftoff_ns, burnout_ns, apogee_ns, drogue_out_ns, main_out_ns, touchdown_ns, joined_ns;
    double drogue_out_sigma_s = 0, main_out_sigma_s = 0;
    std::optional<std::int64_t> reboot_ns; ///< the newest
    int charges_at_rest = 0;               ///< pressure pulses since it lies

    MotionSource altitude_source = MotionSource::none, speed_source = MotionSource::none;
    Figure altitude_m, vertical_speed_mps;
    std::array<Figure, 4> speed_of_mps; ///< vertical, of each source, by MotionSource
    Figure apogee_m;                    ///< measured; none before apogee
    double density_kg_m3 = kNaN;        ///< of the air around it
    std::int64_t t_air_ns = 0;          ///< of that
    Place place;                        ///< newest with fixes in it
    double horizontal_sigma_m = kNaN;   ///< of the place now, with or without fixes
    std::int64_t t_attitude_ns = 0;     ///< newest row of navigation with an attitude; 0: never
    std::int64_t t_navigation_ns = 0;   ///< newest row of navigation
    double tilt_deg = kNaN;             ///< of the nose from vertical, newest

    ApogeePrediction ascent;
    estimate::ByLandingCase<std::optional<LandingPrediction>> landing;
    estimate::LandingCaseKind likeliest = estimate::LandingCaseKind::nominal;
    std::int64_t t_landing_ns = 0; ///< of the state that landings were predicted from; 0: none

    double loss = kNaN; ///< of packets sent over the last ten seconds, on its best link
    double wind_mps = kNaN, wind_from_deg = kNaN, engine_rpm = kNaN;

    [[nodiscard]] double seconds_since(std::int64_t then_ns) const noexcept;
    [[nodiscard]] bool in_flight() const noexcept;
    [[nodiscard]] bool descends() const noexcept;
};

class FlightViewer {
  public:
    static constexpr double kSourceStale_s = 1.0;

    /// `vehicle`: its place in the setup. `schema` must outlive it.
    FlightViewer(const Schema& schema, int vehicle);

    /// What was appended to `batch` since `from`.
    void see(const Batch& batch, Marks from);
    /// As of a tick.
    [[nodiscard]] const FlightView& at(std::int64_t t_ns);

  private:
    enum class Kind : unsigned char { none, packet, phase, vertical, air, navigation, ascent, landing, derived, link };
    /// Columns by what they hold; -1: the table has none.
    struct Motion {
        int altitude = -1, altitude_sigma = -1, speed = -1, speed_sigma = -1;
    };
    struct PacketAt {
        std::vector<int> height, inertial;
        int latitude = -1, longitude = -1, fix_dimensions = -1, wind_speed = -1, wind_from = -1, engine_speed = -1;
    };
    struct NavigationAt {
        Motion motion;
        int mode = -1, east = -1, east_sigma = -1, north = -1, north_sigma = -1, latitude = -1, longitude = -1;
        int altitude_msl = -1, velocity_east = -1, velocity_north = -1, q_w = -1, tilt = -1;
    };
    struct LandingAt {
        int probability = -1, east = -1, north = -1, semi_major = -1, in_s = -1;
    };
    using Numbers = std::span<const double>;

    void find_columns(const Table& table, const std::string& estimate);
    void see_packet(const RowRecord& row, const PacketAt& at, Numbers numbers);
    void see_navigation(std::int64_t t_ns, Numbers numbers);
    void see_landing(std::int64_t t_ns, Numbers numbers);
    void see_motion(MotionSource source, const Motion& at, std::int64_t t_ns, Numbers numbers);
    void see(const Event& event);
    void begin_flight();

    int vehicle_;
    const Schema* schema_;
    std::vector<Kind> kinds_;       ///< by table
    std::vector<PacketAt> packets_; ///< by table
    std::vector<int> loss_at_;      ///< by table
    int phase_at_ = -1, density_at_ = -1;
    Motion vertical_at_, air_at_;
    NavigationAt navigation_at_;
    std::vector<double> aided_modes_; ///< in which fixes are in its place
    int apogee_at_ = -1, apogee_sigma_at_ = -1, apogee_in_at_ = -1;
    int greatest_at_ = -1, greatest_sigma_at_ = -1;
    estimate::ByLandingCase<LandingAt> landing_at_;
    int likeliest_at_ = -1;
    std::array<Figure, 4> altitude_m_{}; ///< of each source, by MotionSource
    bool aided_ = false;                 ///< navigation is
    FlightView view_;
};

} // namespace turnstone
