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

constexpr double kThrustTurnSigma_rad = radians(0.06); // of a motor held straight; common practice, no source
constexpr double kStiffnessSigma = 0.4;
// What the model leaves out, as a fraction of the speed still to be lost.
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
    const std::lock_guard lock(together_->pieces);
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
    together_->due_steps = 0;
    together_->flown_blocks = 0;
    piece_ = 0;
}

void Predictor::set_up(FlightBlock& b, int index) const {
    const double* first = normals_.data() + static_cast<std::size_t>(index) * kDraws * kLanes;
    const FlightScatter& scatter = rocket_->scatter;
    int used = 0;
    const auto draw = [&] { return Eigen::Map<const Lanes>(first + static_cast<std::ptrdiff_t>(used++) * kLanes); };
    b.thrust_scale = thrust_.value + thrust_.sigma * draw();
    const Lanes more_impulse = draw();
    for (int k = 0; k < kLanes; ++k) {
        const Factor impulse = impulse_at(b.thrust_scale(k), scatter);
        b.burn_scale(k) = (impulse.value + impulse.sigma * more_impulse(k)) / b.thrust_scale(k);
    }
    b.drag_scale = (drag_.value + drag_.sigma * draw()).max(0.1);
    // Once it flies, thrust and drag are measured per mass.
    b.mass_scale = 1 + (start_.phase == Phase::on_rail ? scatter.mass_dry : 0.0) * draw();
    const bool parachutes[2] = {!rocket_->parachutes.empty(), rocket_->parachutes.size() > 1};
    for (std::size_t k = 0; k < 2; ++k) {
        const double area_m2 = parachutes[k] ? rocket_->parachutes[k].drag_area_m2 : 0;
        b.parachute_m2[k] = area_m2 * (parachute_[k].value + parachute_[k].sigma * draw()).max(0.1);
    }
    b.delay_scale_s = scatter.opening_delay_s * draw();
    const Lanes late_a = draw(), late_b = draw();
    b.late_s = 0.5 * kLate_s * (late_a.square() + late_b.square()); // chi-square of two degrees is exponential
    b.thrust_east = kThrustTurnSigma_rad * draw();
    b.thrust_north = kThrustTurnSigma_rad * draw();
    b.stiffness_scale = (kStiffnessSigma * draw()).exp();
    Eigen::Matrix<double, kLanes, 6> state;
    for (int k = 0; k < 6; ++k) state.col(k) = draw().matrix();
    const Lanes model = draw();
    const auto wind = [&](const WindProfile::Nodes& mean, LaneWind& out) {
        const Eigen::Map<const LaneWind> normals(first + static_cast<std::ptrdiff_t>(used) * kLanes);
        used += WindProfile::kNodes;
        out.noalias() = normals * wind_root_.transpose();
        out.rowwise() += mean.transpose();
    };
    wind(wind_east_, b.wind_east);
    wind(wind_north_, b.wind_north);

    if (start_.phase == Phase::on_rail) {
        const double azimuth = radians(site_->launch_azimuth_deg.value_or(0));
        const Lanes tilt = radians(site_->launch_tilt_deg) + scatter.rail_tilt_rad * state.col(0).array();
        const Lanes heading = azimuth + scatter.rail_azimuth_rad * state.col(1).array();
        leave_rail(conditions_, b, tilt.sin() * heading.sin(), tilt.sin() * heading.cos(), tilt.cos());
        return;
    }
    const Eigen::Matrix<double, kLanes, 6> off = state * state_root_.transpose();
    b.t_s = Lanes::Constant(start_.phase == Phase::under_thrust ? start_.since_ignition_s : 0);
    b.burning = start_.phase == Phase::under_thrust;
    const Eigen::Vector3d& v = start_.velocity_enu_mps;
    const Eigen::Vector3d nose = start_.nose_enu.normalized();
    // The path bends by gravity across it, and the nose with it.
    const Eigen::Vector3d turn =
        v.cross(Eigen::Vector3d(0, 0, -conditions_.gravity_mps2)) / std::max(1.0, v.squaredNorm());
    b.nose_x = Lanes::Constant(nose.x());
    b.nose_y = Lanes::Constant(nose.y());
    b.nose_z = Lanes::Constant(nose.z());
    b.turn_x = Lanes::Constant(turn.x());
    b.turn_y = Lanes::Constant(turn.y());
    b.turn_z = Lanes::Constant(turn.z());
    b.x_m = start_.position_enu_m.x() + off.col(0).array();
    b.y_m = start_.position_enu_m.y() + off.col(1).array();
    b.z_m = start_.position_enu_m.z() + off.col(2).array();
    b.vx_mps = start_.velocity_enu_mps.x() + off.col(3).array();
    b.vy_mps = start_.velocity_enu_mps.y() + off.col(4).array();
    b.vz_mps = start_.velocity_enu_mps.z() * (1 + kModelFraction * model) + off.col(5).array();
}

void Predictor::climb_block(int index) {
    set_up(block_, index);
    const double t_start_s = start_.phase == Phase::under_thrust ? start_.since_ignition_s : 0;
    climb(conditions_, block_);
    if (!ascends()) return;
    for (int k = 0; k < kLanes; ++k) {
        apogee_m_.push_back(block_.apogee_m(k));
        apogee_s_.push_back(block_.apogee_s(k) - t_start_s);
    }
}

void Predictor::fall_block(int index, LandingCaseKind kind) {
    if (!start_.place_known || start_.probability[kind] <= 0) return;
    if (kind != likeliest(start_.probability) && index % kShare != 0) return;
    const double t_start_s = start_.phase == Phase::under_thrust ? start_.since_ignition_s : 0;
    fall(kind);
    for (int k = 0; k < kLanes; ++k)
        landings_[kind].push_back(
            {falling_.landing_east_m(k), falling_.landing_north_m(k), falling_.landing_s(k) - t_start_s});
}

void Predictor::fall(LandingCaseKind kind) {
    using enum LandingCaseKind;
    falling_ = block_;
    if (kind != late_opening) falling_.late_s.setZero();
    const Openings openings{.first = kind != drogue_fails && kind != no_parachute,
                            .later = kind != main_fails && kind != no_parachute,
                            .later_with_first = kind == main_at_apogee,
                            .since_apogee_s = start_.phase == Phase::falling ? start_.since_apogee_s : 0};
    // What is open has been so for long, as far as filling goes.
    const bool hangs = start_.phase == Phase::under_drogue || start_.phase == Phase::under_main;
    if (hangs && openings.first) falling_.opens_s[0] = Lanes::Constant(-10);
    if (start_.phase == Phase::under_main || (hangs && kind == main_at_apogee))
        falling_.opens_s[1] = Lanes::Constant(-10);
    descend(conditions_, falling_, openings);
}

std::optional<Prediction> Predictor::advance(int steps, bool flying) {
    if (!busy()) return std::nullopt;
    together_->flying = flying;
    together_->due_steps = std::min(kSteps, together_->due_steps + steps);
    if (busy()) return std::nullopt;
    while (fly_due()) {
    }
    const std::lock_guard lock(together_->pieces);
    return flying ? prediction_ : passed_over();
}

bool Predictor::fly_due() {
    const std::lock_guard lock(together_->pieces);
    const bool flies = together_->flown_blocks < kBlocks;
    if (!together_->flying || together_->flown_blocks >= together_->due_steps || piece_ > std::size(kLandingCases))
        return false;
    if (piece_ == 0) {
        flies ? climb_block(together_->flown_blocks) : summarise_apogee();
    } else {
        const LandingCaseKind kind = kLandingCases[piece_ - 1].value;
        flies ? fall_block(together_->flown_blocks, kind) : summarise_landing(kind);
    }
    if (++piece_ > std::size(kLandingCases) && flies) {
        ++together_->flown_blocks;
        piece_ = 0;
    }
    return true;
}

Prediction Predictor::passed_over() const {
    Prediction out{};
    out.t_ns = start_.t_ns;
    out.has_apogee = ascends();
    out.apogee_m = out.apogee_sigma_m = out.apogee_low_m = out.apogee_high_m = out.apogee_in_s = out.apogee_in_low_s =
        out.apogee_in_high_s = kNaN;
    out.outside = kNaN;
    out.has_landing = start_.place_known;
    out.likeliest = likeliest(start_.probability);
    return out;
}

void Predictor::summarise_apogee() {
    Prediction& out = prediction_ = {};
    out.t_ns = start_.t_ns;
    out.flown = true;
    out.likeliest = likeliest(start_.probability);
    out.has_landing = start_.place_known;
    if (!out.has_landing) out.outside = kNaN;
    out.has_apogee = !apogee_m_.empty();
    if (!out.has_apogee) return;
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

void Predictor::summarise_landing(LandingCaseKind kind) {
    if (landings_[kind].empty()) return;
    const LandingCase& landing =
        prediction_.landing[kind].emplace(landing_of(landings_[kind], boundary_, start_.probability[kind]));
    prediction_.outside += landing.probability * landing.outside;
}

} // namespace turnstone::estimate
