#pragma once
/// Mass, centre of mass and inertia of what is put together from parts, with what is known of each.
///
/// Axes: x along the vehicle from the nose tip aft (a station), y and z across it. Parallel axis theorem
/// (Huygens-Steiner); uncertainties by JCGM 100:2008 (GUM), 5.1 and 5.2. Checked in tests/analysis/mass against
/// rational arithmetic, tests/reference/numerics2/mass.json.
#include <span>

#include <Eigen/Core>

namespace turnstone::analysis {

struct PointedPart {
    double mass_kg = 0;
    Eigen::Vector3d position_m = Eigen::Vector3d::Zero();    ///< of its centre of mass
    Eigen::Matrix3d inertia_kg_m2 = Eigen::Matrix3d::Zero(); ///< about its centre of mass, axes parallel
    double mass_sigma_kg = 0, station_sigma_m = 0;           ///< standard uncertainties
    double pitch_inertia_sigma_kg_m2 = 0;                    ///< of its own inertia about a transverse axis
};

struct Assembly {
    double mass_kg = 0;
    Eigen::Vector3d centre_m = Eigen::Vector3d::Zero();
    Eigen::Matrix3d inertia_kg_m2 = Eigen::Matrix3d::Zero(); ///< about the centre of mass
    double mass_sigma_kg = 0, station_sigma_m = 0;
    double pitch_inertia_sigma_kg_m2 = 0; ///< of inertia(1, 1), the part that lies along the axis

    /// The greatest last.
    [[nodiscard]] Eigen::Vector3d principal_moments_kg_m2() const;
};

/// `mass_correlation` of any two parts' mass errors: 0 when each was weighed by itself, 1 when the scale's own error is
/// all there is. The centre is NaN for nothing.
[[nodiscard]] Assembly assemble(std::span<const PointedPart> parts, double mass_correlation = 0);

} // namespace turnstone::analysis
