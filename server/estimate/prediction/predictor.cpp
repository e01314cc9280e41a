#include "server/estimate/prediction/predictor.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <random>

#include <Eigen/Cholesky>

#include "server/estimate/math/angles.hpp"
#include "shared/constants.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

using Eigen::Vector2d;

namespace {

// 1-sigma of what no sensor shows before it happens.
constexpr double kImpulseSigma = 0.02; // of a motor of known make: known better than its thrust or burn time
constexpr double kMassSigma = 0.01;
constexpr double kDelaySigma_s = 0.25; // charge and parachute
constexpr double kRailTiltSigma_rad = radians(0.8);
constexpr double kRailAzimuthSigma_rad = radians(4.5);
constexpr double kThrustTurnSigma_rad = radians(0.15);
// A fin-stabilised vehicle swings into the wind within a quarter of its pitch wavelength.
constexpr double kTurnDiameters = 250;
constexpr double kTurnSigma = 0.3;
constexpr double kGustFraction = 0.06; // of the mean wind, averaged over a whole flight
// What a point mass leaves out, as a fraction of the speed still to be lost: swinging after the rail and after burnout
// costs height.
constexpr double kModelFraction = 0.0018;

/// Standard normal numbers that are the same on every machine: Box-Muller on the bits of a standard engine.
std::vector<double> draw_normals(std::size_t count, std::uint64_t seed) {
    std::mt19937_64 engine(seed);
    const auto uniform = [&] { return (static_cast<double>(engine() >> 11U) + 0.5) * 0x1p-53; };
    std::vector<double> out(count);
    for (double& value : out) {
        const double radius = std::sqrt(-2 * std::log(uniform()));
        value = radius * std::cos(2 * std::numbers::pi * uniform());
    }
    return out;
}

double quantile(std::vector<double>& values, double p) {
    const auto at = values.begin() + static_cast<std::ptrdiff_t>(p * static_cast<double>(values.size() - 1));
    std::nth_element(values.begin(), at, values.end());
    return *at;
}

} // namespace

Predictor::Predictor(const RocketModel& rocket, const Site& site)
    : rocket_(&rocket), site_(&site),
      conditions_(rocket, normal_gravity_mps2(site.pad.latitude_deg, site.pad.height_m), Ground(site)),
      normals_(draw_normals(static_cast<std::size_t>(kFlights) * kDraws, kSeed)) {
    const LocalFrame frame(site.pad);
    for (const GeodeticPosition& corner : site.boundary)
        boundary_.push_back(frame.to_enu_m({corner.latitude_deg, corner.longitude_deg, site.pad.height_m}).head<2>());
    apogee_m_.reserve(kFlights);
    apogee_s_.reserve(kFlights);
    for (const auto& one : kLandingCases) landings_[one.value].reserve(kFlights);
}

void Predictor::start(const PredictionStart& start, const FlightFit& fit, const WindProfile& wind,
                      const DayAtmosphere& air) {
    start_ = start;
    thrust_ = fit.thrust();
    drag_ = fit.drag();
    parachute_ = {fit.parachute(0), fit.parachute(1)};
    conditions_.set_air(air);
    state_root_ = start.covariance.llt().matrixL();
    const WindProfile::Covariance jitter = 1e-6 * WindProfile::Covariance::Identity();
    wind_root_ = (wind.covariance() + jitter).llt().matrixL();
    wind_east_ = wind.east_mps();
    wind_north_ = wind.north_mps();
    apogee_m_.clear();
    apogee_s_.clear();
    for (const auto& one : kLandingCases) landings_[one.value].clear();
    due_blocks_ = flown_blocks_ = 0;
}

void Predictor::set_up(FlightBlock& b, int index) const {
    const double* first = normals_.data() + static_cast<std::size_t>(index) * kDraws * kLanes;
    int used = 0;
    const auto draw = [&] { return Eigen::Map<const Lanes>(first + static_cast<std::ptrdiff_t>(used++) * kLanes); };
    b.thrust_scale = thrust_.value + thrust_.sigma * draw();
    b.burn_scale = (1 + kImpulseSigma * draw()) / b.thrust_scale;
    b.drag_scale = (drag_.value + drag_.sigma * draw()).max(0.1);
    // Once it flies, thrust and drag are measured per mass.
    b.mass_scale = 1 + (start_.phase == Phase::on_rail ? kMassSigma : 0.0) * draw();
    const bool parachutes[2] = {!rocket_->parachutes.empty(), rocket_->parachutes.size() > 1};
    for (std::size_t k = 0; k < 2; ++k) {
        const double area_m2 = parachutes[k] ? rocket_->parachutes[k].drag_area_m2 : 0;
        b.parachute_m2[k] = area_m2 * (parachute_[k].value + parachute_[k].sigma * draw()).max(0.1);
    }
    b.delay_scale_s = kDelaySigma_s * draw();
    b.thrust_east = kThrustTurnSigma_rad * draw();
    b.thrust_north = kThrustTurnSigma_rad * draw();
    b.turn_distance_m = kTurnDiameters * rocket_->body_diameter_m * (1 + kTurnSigma * draw()).max(0.2);
    const Lanes gust_east = 1 + kGustFraction * draw();
    const Lanes gust_north = 1 + kGustFraction * draw();
    Eigen::Matrix<double, kLanes, 6> state;
    for (int k = 0; k < 6; ++k) state.col(k) = draw().matrix();
    const Lanes model = draw();
    const auto wind = [&](const WindProfile::Nodes& mean, const Lanes& gust, LaneWind& out) {
        const Eigen::Map<const LaneWind> normals(first + static_cast<std::ptrdiff_t>(used) * kLanes);
        used += WindProfile::kNodes;
        out.noalias() = normals * wind_root_.transpose();
        out.rowwise() += mean.transpose();
        out.array().colwise() *= gust;
    };
    wind(wind_east_, gust_east, b.wind_east);
    wind(wind_north_, gust_north, b.wind_north);

    if (start_.phase == Phase::on_rail) {
        const double azimuth = radians(site_->launch_azimuth_deg.value_or(0));
        const Lanes tilt = radians(site_->launch_tilt_deg) + kRailTiltSigma_rad * state.col(0).array();
        const Lanes heading = azimuth + kRailAzimuthSigma_rad * state.col(1).array();
        leave_rail(conditions_, b, tilt.sin() * heading.sin(), tilt.sin() * heading.cos(), tilt.cos());
        return;
    }
    const Eigen::Matrix<double, kLanes, 6> off = state * state_root_.transpose();
    b.t_s = Lanes::Constant(start_.phase == Phase::under_thrust ? start_.since_ignition_s : 0);
    b.burning = start_.phase == Phase::under_thrust;
    b.nose_x = Lanes::Constant(start_.nose_enu.x());
    b.nose_y = Lanes::Constant(start_.nose_enu.y());
    b.x_m = start_.position_enu_m.x() + off.col(0).array();
    b.y_m = start_.position_enu_m.y() + off.col(1).array();
    b.z_m = start_.position_enu_m.z() + off.col(2).array();
    b.vx_mps = start_.velocity_enu_mps.x() + off.col(3).array();
    b.vy_mps = start_.velocity_enu_mps.y() + off.col(4).array();
    b.vz_mps = start_.velocity_enu_mps.z() * (1 + kModelFraction * model) + off.col(5).array();
}

void Predictor::fly_block(int index) {
    set_up(block_, index);
    const double t_start_s = start_.phase == Phase::under_thrust ? start_.since_ignition_s : 0;
    climb(conditions_, block_);
    if (ascends()) {
        for (int k = 0; k < kLanes; ++k) {
            apogee_m_.push_back(block_.apogee_m(k));
            apogee_s_.push_back(block_.apogee_s(k) - t_start_s);
        }
    }
    if (!start_.place_known) return;
    const bool open = start_.phase == Phase::under_drogue || start_.phase == Phase::under_main;
    for (const LandingCaseWords& one : kLandingCases) {
        const LandingCaseKind kind = one.value;
        if (open && kind != LandingCaseKind::nominal) continue;
        falling_ = block_;
        conditions_.first_parachute = kind == LandingCaseKind::nominal && !start_.first_stayed_shut;
        conditions_.later_parachutes = kind != LandingCaseKind::no_parachute && !start_.later_stayed_shut;
        if (open) { // long ago as far as filling goes
            falling_.opens_s[0] = Lanes::Constant(-10);
            if (start_.phase == Phase::under_main) falling_.opens_s[1] = Lanes::Constant(-10);
        }
        descend(conditions_, falling_);
        for (int k = 0; k < kLanes; ++k) {
            landings_[kind].push_back(
                {falling_.landing_east_m(k), falling_.landing_north_m(k), falling_.landing_s(k) - t_start_s});
        }
    }
}

std::optional<Prediction> Predictor::advance(int blocks, bool flying) {
    if (!busy()) return std::nullopt;
    due_blocks_ = std::min(kBlocks, due_blocks_ + blocks);
    flying_ = flying;
    if (busy()) return std::nullopt;
    while (fly_due()) {
    }
    if (flown_blocks_ == kBlocks) return summarise();
    Prediction passed_over{};
    passed_over.t_ns = start_.t_ns;
    passed_over.has_apogee = ascends();
    passed_over.apogee_m = passed_over.apogee_sigma_m = passed_over.apogee_low_m = passed_over.apogee_high_m =
        passed_over.apogee_in_s = passed_over.apogee_in_low_s = passed_over.apogee_in_high_s =
            std::numeric_limits<double>::quiet_NaN();
    passed_over.has_landing = start_.place_known;
    return passed_over;
}

bool Predictor::fly_due() {
    if (!flying_ || flown_blocks_ >= due_blocks_) return false;
    fly_block(flown_blocks_++);
    return true;
}

Prediction Predictor::summarise() {
    Prediction out{};
    out.t_ns = start_.t_ns;
    out.flown = true;
    out.has_apogee = !apogee_m_.empty();
    if (out.has_apogee) {
        double square = 0;
        for (const double h : apogee_m_) out.apogee_m += h / kFlights;
        for (const double t : apogee_s_) out.apogee_in_s += t / kFlights;
        for (const double h : apogee_m_) square += (h - out.apogee_m) * (h - out.apogee_m) / (kFlights - 1);
        out.apogee_sigma_m = std::sqrt(square);
        out.apogee_low_m = quantile(apogee_m_, 0.05);
        out.apogee_high_m = quantile(apogee_m_, 0.95);
        out.apogee_in_low_s = quantile(apogee_s_, 0.05);
        out.apogee_in_high_s = quantile(apogee_s_, 0.95);
    }
    for (const LandingCaseWords& one : kLandingCases) {
        const auto& points = landings_[one.value];
        if (points.empty()) continue;
        out.has_landing = true;
        const auto count = static_cast<double>(points.size());
        LandingCase& landing = out.landing[one.value].emplace();
        Eigen::Vector3d mean = Eigen::Vector3d::Zero();
        for (const auto& p : points) mean += p / count;
        landing.mean_m = mean.head<2>();
        landing.time_s = mean.z();
        landing.covariance_m2.setZero();
        int outside = 0;
        for (const auto& p : points) {
            const Vector2d off = p.head<2>() - landing.mean_m;
            landing.covariance_m2 += off * off.transpose() / (count - 1);
            outside += !boundary_.empty() && !inside(boundary_, p.head<2>());
        }
        landing.outside = boundary_.empty() ? kNaN : outside / count;
    }
    return out;
}

} // namespace turnstone::estimate
