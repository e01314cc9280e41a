#include "shared/geodesy.hpp"

#include <charconv>
#include <cmath>
#include <system_error>
#include <vector>

#include <GeographicLib/Geocentric.hpp>
#include <GeographicLib/Geodesic.hpp>
#include <GeographicLib/NormalGravity.hpp>

#include "shared/constants.hpp"

namespace turnstone {

namespace {
using GeographicLib::Geocentric;
using GeographicLib::NormalGravity;
} // namespace

std::optional<GeodeticPosition> position_in(std::string_view text) noexcept {
    const char* const end = text.data() + text.size();
    GeodeticPosition out{};
    const auto latitude = std::from_chars(text.data(), end, out.latitude_deg);
    if (latitude.ec != std::errc{} || latitude.ptr == end || *latitude.ptr != ',') return std::nullopt;
    const auto longitude = std::from_chars(latitude.ptr + 1, end, out.longitude_deg);
    if (longitude.ec != std::errc{} || longitude.ptr != end) return std::nullopt;
    const bool is_on_earth = std::abs(out.latitude_deg) <= 90 && std::abs(out.longitude_deg) <= 180; // NaN is not
    return is_on_earth ? std::optional(out) : std::nullopt;
}

LocalFrame::LocalFrame(const GeodeticPosition& origin) : origin_(origin) {
    std::vector<double> local_to_ecef(9); // row-major, columns are east, north, up
    Geocentric::WGS84().Forward(origin.latitude_deg, origin.longitude_deg, origin.height_m, origin_ecef_m_.x(),
                                origin_ecef_m_.y(), origin_ecef_m_.z(), local_to_ecef);
    enu_from_ecef_ = Eigen::Map<const Eigen::Matrix<double, 3, 3, Eigen::RowMajor>>(local_to_ecef.data()).transpose();
}

Eigen::Vector3d LocalFrame::to_enu_m(const GeodeticPosition& position) const {
    return enu_from_ecef_ * (to_ecef_m(position) - origin_ecef_m_);
}

GeodeticPosition LocalFrame::to_geodetic(const Eigen::Vector3d& enu_m) const {
    return from_ecef_m(origin_ecef_m_ + enu_from_ecef_.transpose() * enu_m);
}

Eigen::Vector3d to_ecef_m(const GeodeticPosition& position) {
    Eigen::Vector3d ecef_m;
    Geocentric::WGS84().Forward(position.latitude_deg, position.longitude_deg, position.height_m, ecef_m.x(),
                                ecef_m.y(), ecef_m.z());
    return ecef_m;
}

GeodeticPosition from_ecef_m(const Eigen::Vector3d& ecef_m) {
    if (!ecef_m.allFinite()) return {kNaN, kNaN, kNaN};
    GeodeticPosition position{};
    Geocentric::WGS84().Reverse(ecef_m.x(), ecef_m.y(), ecef_m.z(), position.latitude_deg, position.longitude_deg,
                                position.height_m);
    return position;
}

double normal_gravity_mps2(double latitude_deg, double height_m) {
    double north_mps2 = 0;
    double up_mps2 = 0;
    NormalGravity::WGS84().Gravity(latitude_deg, height_m, north_mps2, up_mps2);
    return std::hypot(north_mps2, up_mps2);
}

Geodesic geodesic(const GeodeticPosition& from, const GeodeticPosition& to) {
    double distance_m = 0;
    double azimuth_deg = 0;
    double azimuth_end_deg = 0;
    GeographicLib::Geodesic::WGS84().Inverse(from.latitude_deg, from.longitude_deg, to.latitude_deg, to.longitude_deg,
                                             distance_m, azimuth_deg, azimuth_end_deg);
    if (azimuth_deg < 0) {
        azimuth_deg += 360.0;
        // The library may return a tiny negative angle, whose sum rounds to 360.
        if (azimuth_deg >= 360.0) azimuth_deg = 0.0;
    }
    return {distance_m, azimuth_deg + 0.0};
}

} // namespace turnstone
