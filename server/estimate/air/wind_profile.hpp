#pragma once
/// Horizontal wind against height: forecast or measured on the ground, corrected by the drift of the vehicle under its
/// parachute.
///
/// A Gaussian process on nodes every 50 m up to 2 km and every 1 km from there to 15 km (C. E. Rasmussen, C. K. I.
/// Williams, "Gaussian Processes for Machine Learning", 2006, chapter 2): mean from the site's wind table, else the
/// pad's anemometer, else calm; sigma set by the source of the mean; covariance falls exponentially with the difference
/// in height. East and north are independent and share one covariance. Wind common to all heights (a forecast that is a
/// fifth too strong) shows at one height and corrects every height.
///
/// Gusts are the low-altitude model of MIL-F-8785C (1980; from memory) as a second such process: a vehicle flies
/// through their field once, and drift measured at one height says what it meets for a scale length below. The mean of
/// minutes on the pad says nothing of them. Deterministic; no allocation after construction.
#include <algorithm>
#include <cstdint>

#include <Eigen/Core>

#include "shared/site.hpp"

namespace turnstone::estimate {

class WindProfile {
  public:
    static constexpr double kStep_m = 50.0, kHighStep_m = 1000.0;
    static constexpr int kLowNodes = 40; ///< steps of kStep_m; those above them are kHighStep_m apart
    static constexpr int kNodes = kLowNodes + 1 + 13;
    /// Root mean square of a day's gusts over the specification's: sun and rough ground scatter it by some 0.6 of it;
    /// common practice, no source.
    static constexpr double kGustiness = 1.2;
    /// 1-sigma of a component of the velocity of what hangs under a parachute, over the moment of a measurement.
    static constexpr double kSwing_mps = 0.4;
    using Nodes = Eigen::Matrix<double, kNodes, 1>;
    using Covariance = Eigen::Matrix<double, kNodes, kNodes>;

    explicit WindProfile(const Site& site);

    /// Place of a height among the nodes, [0, kNodes - 1], the ends beyond; the fraction lies between two of them. NaN
    /// is at the lowest: a place among them in any case.
    [[nodiscard]] static double node_at(double height_m) noexcept {
        constexpr double kLow_m = kLowNodes * kStep_m;
        const double at = height_m <= kLow_m ? height_m / kStep_m : kLowNodes + (height_m - kLow_m) / kHighStep_m;
        return at > 0 ? std::min(at, kNodes - 1.0) : 0;
    }
    /// Height of a node AGL.
    [[nodiscard]] static double node_height_m(int node) noexcept {
        return node <= kLowNodes ? node * kStep_m : kLowNodes * kStep_m + (node - kLowNodes) * kHighStep_m;
    }

    /// Velocity of the air, m/s; `height_m` above the pad, the end nodes' values beyond.
    [[nodiscard]] Eigen::Vector2d at(double height_m) const;
    /// Velocity against this air of what moves with `velocity_enu_mps`.
    [[nodiscard]] Eigen::Vector3d against_air_mps(Eigen::Vector3d velocity_enu_mps, double height_m) const;
    /// 1-sigma of one component of it, gusts included.
    [[nodiscard]] double sigma_mps(double height_m) const;
    /// 1-sigma of gusts up and down, which no drift shows: a tenth of the wind at 20 ft.
    [[nodiscard]] double gust_up_mps() const;
    /// Velocity of the air, gusts and all, measured in flight around `height_m`, 1-sigma of one component.
    void measure(double height_m, const Eigen::Vector2d& velocity_en_mps, double sigma_mps);
    /// The pad's anemometer. Used once a minute, because gusts last longer than its samples. Ignores what is not
    /// finite.
    void anemometer(std::int64_t t_ns, double speed_mps, double from_deg);

    [[nodiscard]] const Nodes& east_mps() const noexcept { return east_; }
    [[nodiscard]] const Nodes& north_mps() const noexcept { return north_; }
    [[nodiscard]] Covariance covariance() const; ///< of both, gusts included
    /// Without a wind table and without a measurement so far.
    [[nodiscard]] bool unknown() const noexcept { return unknown_; }

  private:
    [[nodiscard]] Covariance gusts() const;
    void correct(double height_m, const Eigen::Vector2d& velocity_en_mps, double sigma_mps);

    Nodes east_ = Nodes::Zero(), north_ = Nodes::Zero();
    Covariance covariance_;
    bool in_gusts_ = false; ///< covariance_ is of the air that the vehicle meets, not of its mean
    bool unknown_;
    std::int64_t t_anemometer_ns_ = 0;
    double east_sum_ = 0, north_sum_ = 0;
    int count_ = 0;
};

} // namespace turnstone::estimate
