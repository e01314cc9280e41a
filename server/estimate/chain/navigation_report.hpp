#pragma once
/// The tables "navigation", "look_angles" and "onboard_comparison", and the events of navigation's mode.
///
/// Rows: "navigation" and "look_angles" at most every 40 ms of the vehicle's time; while there is no attitude, the mode
/// alone once a second. "onboard_comparison" for each on-board estimate: ground − on board at the on-board
/// estimate's time, with the 1-sigma of the ground's value (how good the vehicle's own is, the comparison is there to
/// show). Angles in degrees.
#include <optional>
#include <vector>

#include "server/estimate/chain/picture.hpp"
#include "server/estimate/measurements.hpp"
#include "server/estimate/navigation/look_angles.hpp"
#include "server/estimate/navigation/navigation.hpp"
#include "server/estimate/table.hpp"
#include "shared/geodesy.hpp"

namespace turnstone::estimate {

/// What the table "navigation" is filled from.
struct NavigationFigures {
    NavigationEstimate estimate;
    GeodeticPosition geodetic{kNaN, kNaN, kNaN};
    double angle_of_attack_deg = kNaN, sideslip_deg = kNaN;
};

/// Ground − on board; 1-sigmas are the ground's.
struct OnboardComparison {
    double altitude_m, altitude_sigma_m;
    double vertical_speed_mps, vertical_speed_sigma_mps;
    double speed_mps = kNaN, speed_sigma_mps = kNaN;
    double attitude_rad = kNaN, attitude_sigma_rad = kNaN;   ///< angle between the two attitudes
    double long_axis_rad = kNaN, long_axis_sigma_rad = kNaN; ///< angle between the two noses
};

[[nodiscard]] TableOf<NavigationFigures> navigation_table();
[[nodiscard]] TableOf<LookAngles> look_angles_table();
[[nodiscard]] TableOf<OnboardComparison> onboard_comparison_table();

class NavigationReport {
  public:
    /// `site` must outlive it. Appends its tables to `tables`.
    NavigationReport(const Site& site, bool has_onboard, std::vector<TableDescription>& tables);

    /// After the inertial sample of `t_ns`.
    void write(std::int64_t t_ns, const Navigation& navigation, const WindProfile& wind, EstimateSink& sink);
    void tick(std::int64_t t_ns, const Navigation& navigation, EstimateSink& sink);
    /// `vertical` as stated: with the lapse's uncertainty.
    void onboard_comparison(const OnboardSample& onboard, const VerticalEstimate& vertical,
                            const Navigation& navigation, EstimateSink& sink);

  private:
    void announce(NavigationMode mode, std::int64_t t_ns, EventSink& events);

    StationView view_;
    LocalFrame frame_;
    RowWriter<NavigationFigures> navigation_;
    RowWriter<LookAngles> look_angles_;
    std::optional<RowWriter<OnboardComparison>> comparison_;
    std::int64_t t_row_ns_ = 0;
    std::optional<NavigationMode> announced_;
};
} // namespace turnstone::estimate
