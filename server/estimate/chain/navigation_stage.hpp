#pragma once
/// Navigation in the chain: what goes into it, the tables "navigation", "look" and "compare", and the events of its
/// mode.
///
/// Rows: "navigation" and "look" at most every 40 ms of the vehicle's time; while there is no attitude, the mode alone
/// once a second. "compare" for each on-board estimate: ground minus on-board at the on-board estimate's time, with the
/// 1-sigma of the ground's value (what the vehicle's own is worth is what the comparison is to show). Angles in
/// degrees.
#include <optional>
#include <vector>

#include "server/estimate/air/wind_profile.hpp"
#include "server/estimate/chain/flight_state.hpp"
#include "server/estimate/measurements.hpp"
#include "server/estimate/navigation/look_angles.hpp"
#include "server/estimate/navigation/navigation.hpp"
#include "server/estimate/table.hpp"

namespace turnstone {

class NavigationStage {
  public:
    /// `site` must outlive it. Appends its tables to `tables`.
    NavigationStage(const Vehicle& vehicle, const Site& site, bool has_onboard, std::vector<EstimateTable>& tables);

    /// Before FlightState takes the same sample.
    void imu(const ImuSample& sample, const PhaseDetector& phases);
    /// After FlightState has taken it.
    void report(const ImuSample& sample, const WindProfile& wind, EstimateSink& sink);
    void fix(const FixSample& sample) { navigation_.fix(sample); }
    void mag(const MagSample& sample) { navigation_.mag(sample); }
    void height(std::int64_t t_ns, const AirHeights& air, const AirSpeeds& speeds);
    void onboard(const OnboardSample& sample, const VerticalEstimate& vertical, EstimateSink& sink);
    void tick(std::int64_t t_ns, EstimateSink& sink);

    /// For the vertical filter: only when sure enough, and on the way up. Under a canopy the shocks that a 200 Hz
    /// sensor aliases make acceleration worse than none.
    [[nodiscard]] std::optional<TiltInput> tilt() const;
    /// Speed against the air and its 1-sigma; NaN when unknown.
    [[nodiscard]] Eigen::Vector2d air_speed_mps(const WindProfile& wind) const;
    [[nodiscard]] const Navigation& navigation() const noexcept { return navigation_; }

  private:
    void announce(NavigationMode mode, std::int64_t t_ns, EstimateSink& sink);

    Navigation navigation_;
    StationView view_;
    LocalFrame frame_;
    std::size_t navigation_table_, look_table_, compare_table_ = 0;
    bool has_onboard_;
    Motion motion_ = Motion::rest;
    std::int64_t t_row_ns_ = 0, t_imu_ns_ = 0;
    std::optional<NavigationMode> announced_;
};

} // namespace turnstone
