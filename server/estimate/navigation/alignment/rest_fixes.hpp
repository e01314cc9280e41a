#pragma once
/// Where GNSS fixes say a resting vehicle is: along each axis a place that stays, what the receiver's datum differs
/// from the site file's by (heights alone), and an error that wanders (a first-order Gauss-Markov process,
/// SensorNoise::fix_correlation_s). Time tells the last from the others: a minute on the pad leaves their sum known to
/// decimetres and each alone no better than the receiver's accuracy. The datum is told from the height where the latter
/// is known: on the pad, and by a flight that began there.
#include <array>
#include <cstdint>

#include "server/estimate/math/kalman.hpp"
#include "server/estimate/navigation/eskf.hpp"
#include "shared/vehicle.hpp"

namespace turnstone::estimate {

class RestFixes {
  public:
    enum Part : int { kPlace, kDatum, kWander };
    using Axis = KalmanState<3>;

    explicit RestFixes(const SensorNoise& sensors);
    void clear();
    /// As a flight left them.
    void land(const EskfNominal& nominal, const Eskf::Covariance& covariance, std::int64_t t_ns);
    /// It was handled, and may have been carried this far.
    void carried(double sigma_m);
    /// `sigma_m` as stated by the receiver or the file: of the whole error.
    void fix(std::int64_t t_ns, const Eigen::Vector3d& position_enu_m, const Eigen::Vector3d& sigma_m);
    [[nodiscard]] bool empty() const noexcept { return !known_; }
    /// Meaningful unless empty().
    [[nodiscard]] const Axis& axis(int index) const { return axes_.at(static_cast<std::size_t>(index)); }
    [[nodiscard]] Eigen::Vector3d place_enu_m() const;
    /// The same axis, given that its place is zero with this 1-sigma.
    [[nodiscard]] static Axis at_zero(Axis axis, double sigma_m);

  private:
    double correlation_s_, correlated_share_, datum_sigma_m_;
    std::array<Axis, 3> axes_;
    std::int64_t t_ns_ = 0;
    bool known_ = false;
};

} // namespace turnstone::estimate
