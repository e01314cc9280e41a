#pragma once
/// WGS 84 geodesy around the pad. Typed calls into GeographicLib (Karney).
#include <optional>
#include <string_view>

#include <Eigen/Core>

namespace turnstone {

/// Geodetic position, WGS 84. Height above the ellipsoid unless a name says otherwise.
struct GeodeticPosition {
    double latitude_deg;  ///< [-90, 90]
    double longitude_deg; ///< [-180, 180]
    double height_m;      ///< above the WGS 84 ellipsoid
};

/// "latitude,longitude" in degrees, such as "-47.2525,68.4975", as height 0; empty: it is not that.
[[nodiscard]] std::optional<GeodeticPosition> position_in(std::string_view text) noexcept;

/// East-north-up at an origin. NaN in gives NaN out; never throws. Error below 1e-6 m within 1000 km.
class LocalFrame {
  public:
    explicit LocalFrame(const GeodeticPosition& origin);
    [[nodiscard]] Eigen::Vector3d to_enu_m(const GeodeticPosition& position) const;
    [[nodiscard]] GeodeticPosition to_geodetic(const Eigen::Vector3d& enu_m) const;
    [[nodiscard]] const GeodeticPosition& origin() const noexcept { return origin_; }

  private:
    GeodeticPosition origin_;
    Eigen::Matrix3d enu_from_ecef_;
    Eigen::Vector3d origin_ecef_m_;
};

/// WGS 84 Earth-centred Earth-fixed, metres.
[[nodiscard]] Eigen::Vector3d to_ecef_m(const GeodeticPosition& position);
[[nodiscard]] GeodeticPosition from_ecef_m(const Eigen::Vector3d& ecef_m);

/// Normal gravity at geodetic latitude and ellipsoidal height, m/s2 (Somigliana closed form at the surface and the
/// exact normal potential above it; NIMA TR8350.2 ch. 4).
[[nodiscard]] double normal_gravity_mps2(double latitude_deg, double height_m);

/// Geodesic distance and initial azimuth (clockwise from true north, [0, 360)).
struct Geodesic {
    double distance_m;
    double azimuth_deg;
};
[[nodiscard]] Geodesic geodesic(const GeodeticPosition& from, const GeodeticPosition& to);

} // namespace turnstone
