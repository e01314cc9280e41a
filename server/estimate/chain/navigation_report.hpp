#pragma once
/// The tables "navigation" and "look_angles", and the events of navigation's mode.
///
/// Rows: "navigation" and "look_angles" at most every 40 ms of the vehicle's time (100 ms once it is down), from
/// navigation while it has an attitude and inertial samples come, else from the translation filter. In silence rows go
/// on, ten a second: navigation's last state carried on for a second, then the translation filter's while that is of
/// use. On the rail without an accelerometer, nothing is carried on until a measurement is overdue. With neither, the
/// mode alone once a second. Angles in degrees.
#include <optional>
#include <vector>

#include "server/estimate/chain/picture.hpp"
#include "server/estimate/navigation/flow_angles.hpp"
#include "server/estimate/navigation/look_angles.hpp"
#include "server/estimate/navigation/navigation.hpp"
#include "server/estimate/table.hpp"
#include "server/estimate/translation/translation_filter.hpp"
#include "shared/geodesy.hpp"

namespace turnstone::estimate {

/// What the table "navigation" is filled from.
struct NavigationFigures {
    NavigationEstimate estimate;
    GeodeticPosition geodetic{kNaN, kNaN, kNaN};
    double altitude_msl_m = kNaN;
    FlowAngles flow{};
};

/// Where position comes from; either may be null.
struct PositionSources {
    const Navigation* navigation;
    TranslationFilter* translation;
    const WindProfile* wind; ///< null: no angle of attack
    double density_kg_m3 = kNaN;
    bool down = false;  ///< and stays where it is
    bool rests = false; ///< by measurements alone: between them it may have left, and nothing is carried on
    Motion motion = Motion::rest;
};

[[nodiscard]] TableOf<NavigationFigures> navigation_table();
[[nodiscard]] TableOf<LookAngles> look_angles_table();

class NavigationReport {
  public:
    /// `site` must outlive it. Appends its tables to `tables`.
    NavigationReport(const Site& site, std::vector<TableDescription>& tables);

    /// After a measurement of `t_ns`.
    void write(std::int64_t t_ns, const PositionSources& sources, EstimateSink& sink);
    void tick(std::int64_t t_ns, const PositionSources& sources, EstimateSink& sink);

  private:
    void announce(NavigationMode mode, std::int64_t t_ns, EventSink& events);
    [[nodiscard]] bool knows_position(const PositionSources& sources, const NavigationEstimate& e);
    [[nodiscard]] bool write_navigation(std::int64_t t_ns, const PositionSources& sources, EstimateSink& sink);
    [[nodiscard]] bool write_ahead(std::int64_t t_ns, const PositionSources& sources, EstimateSink& sink);
    [[nodiscard]] bool write_translation(std::int64_t t_ns, const PositionSources& sources, EstimateSink& sink);
    void write_row(std::int64_t t_ns, NavigationFigures row, const Eigen::Matrix3d& position_covariance_m2,
                   EstimateSink& sink);

    StationView view_;
    LocalFrame frame_;
    double geoid_height_m_;
    RowWriter<NavigationFigures> navigation_;
    RowWriter<LookAngles> look_angles_;
    std::int64_t t_row_ns_ = 0, t_tried_ns_ = 0;
    bool moved_ = false;              ///< by fixes, though navigation has it at rest
    std::int64_t t_inertial_ns_ = 0;  ///< navigation's at the last tick
    double late_s_ = 0, usual_s_ = 0; ///< how old that was then, and how old it gets as a rule
    std::optional<NavigationMode> announced_;
};
} // namespace turnstone::estimate
