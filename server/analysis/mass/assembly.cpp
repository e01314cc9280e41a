#include "server/analysis/mass/assembly.hpp"

#include <algorithm>
#include <cmath>

#include <Eigen/Eigenvalues>

namespace turnstone::analysis {

namespace {

double square(double value) {
    return value * value;
}

/// Variance of a sum whose terms have these sensitivities times sigma, any two of them correlated alike.
class CorrelatedSum {
  public:
    void add(double contribution) {
        squares_ += square(contribution);
        sum_ += contribution;
    }
    [[nodiscard]] double variance(double correlation) const {
        return (1 - correlation) * squares_ + correlation * square(sum_);
    }

  private:
    double squares_ = 0, sum_ = 0;
};

} // namespace

Eigen::Vector3d Assembly::principal_moments_kg_m2() const {
    return Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d>(inertia_kg_m2, Eigen::EigenvaluesOnly).eigenvalues();
}

Assembly assemble(std::span<const PointedPart> parts, double mass_correlation) {
    Assembly whole;
    Eigen::Vector3d moment = Eigen::Vector3d::Zero();
    for (const PointedPart& part : parts) {
        whole.mass_kg += part.mass_kg;
        moment += part.mass_kg * part.position_m;
    }
    whole.centre_m = moment / whole.mass_kg;
    CorrelatedSum mass;
    CorrelatedSum centre;
    CorrelatedSum inertia;
    double station_variance = 0;
    double inertia_variance = 0;
    for (const PointedPart& part : parts) {
        const Eigen::Vector3d arm = part.position_m - whole.centre_m;
        whole.inertia_kg_m2 += part.inertia_kg_m2 +
                               part.mass_kg * (arm.squaredNorm() * Eigen::Matrix3d::Identity() - arm * arm.transpose());
        // Of the inertia along the axis, sum of m (x - centre)^2: it does not change with the centre in first order.
        mass.add(part.mass_sigma_kg);
        centre.add(arm.x() / whole.mass_kg * part.mass_sigma_kg);
        inertia.add(square(arm.x()) * part.mass_sigma_kg);
        station_variance += square(part.mass_kg / whole.mass_kg * part.station_sigma_m);
        inertia_variance +=
            square(2 * part.mass_kg * arm.x() * part.station_sigma_m) + square(part.pitch_inertia_sigma_kg_m2);
    }
    whole.mass_sigma_kg = std::sqrt(mass.variance(mass_correlation));
    whole.station_sigma_m = std::sqrt(centre.variance(mass_correlation) + station_variance);
    whole.pitch_inertia_sigma_kg_m2 = std::sqrt(inertia.variance(mass_correlation) + inertia_variance);
    return whole;
}

} // namespace turnstone::analysis
