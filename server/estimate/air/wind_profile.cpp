#include "server/estimate/air/wind_profile.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "server/estimate/math/angles.hpp"
#include "server/estimate/math/square.hpp"
#include "shared/constants.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kUnknownWind_mps = 5.0;
constexpr double kCommonFraction = 0.7;      // of the variance is the same at all heights
constexpr double kLength_m = 300.0;          // over which the rest decorrelates
constexpr double kAnemometerSigma_mps = 1.0; // gusts over a minute, and a mast lower than the vehicle
constexpr double kAnemometerHeight_m = 5.0;

constexpr double kGustUpOfWind = WindProfile::kGustiness * 0.1; ///< 1-sigma over the mean wind at 20 ft

/// Of gusts at a height above the ground, in feet there; from 10 to 1000 ft, the ends beyond.
struct GustScale {
    double length_m;
    double of_wind; ///< 1-sigma of a horizontal component over the mean wind at 20 ft
};
constexpr double kGustWindHeight_m = 20 * kFoot_m;

GustScale gust_scale(double height_m) {
    const double height_ft = std::clamp(height_m / kFoot_m, 10.0, 1000.0);
    const double bracket = 0.177 + 0.000823 * height_ft;
    return {kFoot_m * height_ft / std::pow(bracket, 1.2), kGustUpOfWind / std::pow(bracket, 0.4)};
}

/// How many scale lengths each node lies above the ground: an integral, since near the ground they shrink with height.
WindProfile::Nodes gust_lengths() {
    constexpr double kSlice_m = 5.0;
    WindProfile::Nodes out = WindProfile::Nodes::Zero();
    for (int k = 1; k < WindProfile::kNodes; ++k) {
        out(k) = out(k - 1);
        for (double low_m = WindProfile::node_height_m(k - 1); low_m < WindProfile::node_height_m(k); low_m += kSlice_m)
            out(k) += kSlice_m / gust_scale(low_m + 0.5 * kSlice_m).length_m;
    }
    return out;
}

Eigen::Vector2d air_velocity(double speed_mps, double from_deg) {
    const double from = radians(from_deg);
    return {-speed_mps * std::sin(from), -speed_mps * std::cos(from)};
}

Eigen::Vector2d forecast(const std::vector<WindLayer>& layers, double height_m) {
    const auto above =
        std::find_if(layers.begin(), layers.end(), [&](const WindLayer& l) { return l.height_m > height_m; });
    if (above == layers.begin()) return air_velocity(above->speed_mps, above->from_deg);
    const WindLayer& low = *(above - 1);
    Eigen::Vector2d below = air_velocity(low.speed_mps, low.from_deg);
    if (above == layers.end()) return below;
    const double part = (height_m - low.height_m) / (above->height_m - low.height_m);
    return below + part * (air_velocity(above->speed_mps, above->from_deg) - below);
}

/// Linear between nodes: at most two weights differ from zero.
WindProfile::Nodes weights(double height_m) {
    WindProfile::Nodes w = WindProfile::Nodes::Zero();
    const double at = WindProfile::node_at(height_m);
    const int low = std::min(static_cast<int>(at), WindProfile::kNodes - 2);
    w(low) = 1 - (at - low);
    w(low + 1) = at - low;
    return w;
}

} // namespace

WindProfile::WindProfile(const Site& site) : unknown_(site.wind.empty()) {
    Nodes sigma = Nodes::Constant(kUnknownWind_mps);
    for (int k = 0; k < kNodes && !unknown_; ++k) {
        const Eigen::Vector2d wind = forecast(site.wind, node_height_m(k));
        east_(k) = wind.x();
        north_(k) = wind.y();
        // Along the wind and across it differ; the profile has one figure for both.
        const double relative2 =
            0.5 * (square(site.forecast.wind_speed_relative) + square(radians(site.forecast.wind_from_deg)));
        sigma(k) = std::sqrt(relative2 * wind.squaredNorm() + square(site.forecast.wind_speed_mps));
    }
    for (int i = 0; i < kNodes; ++i) {
        for (int j = 0; j < kNodes; ++j) {
            const double alike =
                kCommonFraction +
                (1 - kCommonFraction) * std::exp(-std::abs(node_height_m(i) - node_height_m(j)) / kLength_m);
            covariance_(i, j) = sigma(i) * sigma(j) * alike;
        }
    }
}

Eigen::Vector2d WindProfile::at(double height_m) const {
    const Nodes w = weights(height_m);
    return {w.dot(east_), w.dot(north_)};
}

Eigen::Vector3d WindProfile::against_air_mps(Eigen::Vector3d velocity_enu_mps, double height_m) const {
    velocity_enu_mps.head<2>() -= at(height_m);
    return velocity_enu_mps;
}

double WindProfile::sigma_mps(double height_m) const {
    const Nodes w = weights(height_m);
    const double gust_mps = in_gusts_ ? 0 : gust_scale(height_m).of_wind * at(kGustWindHeight_m).norm();
    return std::sqrt(std::max(0.0, w.dot(covariance_ * w)) + gust_mps * gust_mps);
}

double WindProfile::gust_up_mps() const {
    return kGustUpOfWind * at(kGustWindHeight_m).norm();
}

WindProfile::Covariance WindProfile::covariance() const {
    return in_gusts_ ? covariance_ : Covariance(covariance_ + gusts());
}

WindProfile::Covariance WindProfile::gusts() const {
    const double wind_mps = at(kGustWindHeight_m).norm();
    static const Nodes lengths = gust_lengths();
    Nodes sigma_mps;
    for (int k = 0; k < kNodes; ++k) sigma_mps(k) = gust_scale(node_height_m(k)).of_wind * wind_mps;
    Covariance out;
    for (int i = 0; i < kNodes; ++i)
        for (int j = 0; j < kNodes; ++j)
            out(i, j) = sigma_mps(i) * sigma_mps(j) * std::exp(-std::abs(lengths(i) - lengths(j)));
    return out;
}

void WindProfile::measure(double height_m, const Eigen::Vector2d& velocity_en_mps, double sigma_mps) {
    if (!velocity_en_mps.allFinite() || !std::isfinite(height_m) || !(sigma_mps > 0)) return;
    if (!in_gusts_) covariance_ += gusts();
    in_gusts_ = true;
    correct(height_m, velocity_en_mps, sigma_mps);
}

void WindProfile::correct(double height_m, const Eigen::Vector2d& velocity_en_mps, double sigma_mps) {
    const Nodes w = weights(height_m);
    const Nodes pw = covariance_ * w;
    const double variance = w.dot(pw) + sigma_mps * sigma_mps;
    const Nodes gain = pw / variance;
    east_ += gain * (velocity_en_mps.x() - w.dot(east_));
    north_ += gain * (velocity_en_mps.y() - w.dot(north_));
    // Joseph form for one measurement, expanded.
    covariance_ += gain * (gain.transpose() * variance) - gain * pw.transpose() - pw * gain.transpose();
    unknown_ = false;
}

void WindProfile::anemometer(std::int64_t t_ns, double speed_mps, double from_deg) {
    if (!std::isfinite(speed_mps) || !std::isfinite(from_deg)) return;
    const Eigen::Vector2d wind = air_velocity(speed_mps, from_deg);
    east_sum_ += wind.x();
    north_sum_ += wind.y();
    ++count_;
    if (t_anemometer_ns_ == 0) t_anemometer_ns_ = t_ns;
    if (seconds_between(t_anemometer_ns_, t_ns) < 60.0) return;
    correct(kAnemometerHeight_m, {east_sum_ / count_, north_sum_ / count_}, kAnemometerSigma_mps);
    t_anemometer_ns_ = t_ns;
    east_sum_ = north_sum_ = 0;
    count_ = 0;
}

} // namespace turnstone::estimate
