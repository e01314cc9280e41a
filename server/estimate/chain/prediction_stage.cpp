#include "server/estimate/chain/prediction_stage.hpp"

#include <array>
#include <cmath>
#include <cstdio>
#include <numbers>

#include "server/estimate/chain/prediction_tables.hpp"
#include "shared/time.hpp"

namespace turnstone {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr int kBlocksPerSample = 4; // at 200 Hz a round takes a third of a second
constexpr int kBlocksPerTick = Predictor::kBlocks / 4;
constexpr double kPadPeriods = 20;
constexpr double kDrift_s = 3.0;
constexpr double kSeenWithin_s = 2.5; // of its time a canopy has opened and been recognised, or it stays shut
constexpr double kSettle_s = 4.0;     // of a canopy, after its phase began
constexpr double kGustFloor_mps = 0.4;
constexpr double kGustOfWind = 0.2;
constexpr double kRaise = 0.05, kClear = 0.02; // share outside the boundary

std::array<double, 3> wind_words(const WindProfile& wind, double height_m) {
    const Vector2d w = wind.at(height_m);
    const double from = std::atan2(-w.x(), -w.y()) * 180 / std::numbers::pi;
    return {w.norm(), wind.sigma_mps(height_m), from < 0 ? from + 360 : from};
}

} // namespace

PredictionStage::PredictionStage(const RocketModel& rocket, const Site& site, std::vector<EstimateTable>& tables)
    : rocket_(&rocket), site_(&site), frame_(site.pad),
      gravity_mps2_(normal_gravity_mps2(site.pad.latitude_deg, site.pad.height_m)), fit_(rocket),
      predictor_(rocket, site), ascent_table_(tables.size()), landing_table_(tables.size() + 1) {
    tables.push_back(ascent_table());
    tables.push_back(landing_table());
}

void PredictionStage::imu(const ImuSample& sample, const Navigation* navigation, const FlightState& flight,
                          const WindProfile& wind, EstimateSink& sink) {
    imu_since_tick_ = true;
    learn_ascent(sample, navigation, flight, wind);
    advance(kBlocksPerSample, wind, sink);
}

void PredictionStage::advance(int blocks, const WindProfile& wind, EstimateSink& sink) {
    if (const auto prediction = predictor_.advance(blocks)) {
        report(*prediction, wind, sink);
        watch_boundary(*prediction, sink);
    }
}

void PredictionStage::learn_ascent(const ImuSample& sample, const Navigation* navigation, const FlightState& flight,
                                   const WindProfile& wind) {
    const Phase phase = flight.phases().phase();
    const bool burning = phase == Phase::powered_ascent;
    if ((!burning && phase != Phase::coast) || !flight.air()) return;
    const VerticalEstimate vertical = flight.vertical();
    double speed = vertical.vertical_speed_mps;
    double sigma = vertical.vertical_speed_sigma_mps;
    double bias = 0;
    if (navigation != nullptr && navigation->moving()) {
        Vector3d flow = navigation->best_nominal().velocity_enu_mps;
        flow.head<2>() -= wind.at(navigation->best_nominal().position_enu_m.z());
        speed = flow.norm();
        sigma = navigation->vertical_speed_sigma_mps();
        bias = navigation->best_nominal().accel_bias_mps2.x();
    }
    const AirHeights& air = *flight.air();
    const double mach = speed / air.speed_of_sound_mps;
    const double axial = sample.accel_body_mps2.x() - bias;
    if (burning) {
        if (const auto lift_off = flight.phases().time_of(Moment::lift_off))
            fit_.burning(axial, seconds_between(*lift_off, sample.t_ns), speed, air.density_kg_m3, mach);
    } else if (seconds_between(flight.phases().phase_began_ns(), sample.t_ns) > 0.2) {
        fit_.coasting(axial, speed, sigma, air.density_kg_m3, mach);
    }
}

std::optional<PredictionStart> PredictionStage::state(std::int64_t t_ns, const Navigation* navigation,
                                                      const FlightState& flight) const {
    PredictionStart start{};
    start.t_ns = t_ns;
    start.phase = phase_;
    start.place_known = true;
    start.covariance = Eigen::Matrix<double, 6, 6>::Identity();
    if (phase_ == Phase::on_pad) return start;
    if (navigation != nullptr && navigation->moving()) {
        const NavigationEstimate e = navigation->estimate();
        start.t_ns = e.t_ns;
        start.position_enu_m = e.position_enu_m;
        start.velocity_enu_mps = e.velocity_enu_mps;
        start.nose_enu = e.q_local_body * Vector3d::UnitX();
        start.covariance =
            navigation->covariance().topLeftCorner<6, 6>() + 1e-4 * Eigen::Matrix<double, 6, 6>::Identity();
    } else {
        const VerticalEstimate v = flight.vertical();
        if (!v.valid) return std::nullopt;
        start.t_ns = v.t_ns;
        start.place_known = false;
        const double tilt = site_->launch_tilt_deg * std::numbers::pi / 180;
        const double azimuth = site_->launch_azimuth_deg.value_or(0) * std::numbers::pi / 180;
        const double across = v.vertical_speed_mps * std::tan(tilt);
        start.position_enu_m = {0, 0, v.altitude_m};
        start.velocity_enu_mps = {across * std::sin(azimuth), across * std::cos(azimuth), v.vertical_speed_mps};
        start.nose_enu = start.velocity_enu_mps.normalized();
        const double unknown = std::max(1.0, 0.1 * std::abs(v.vertical_speed_mps));
        start.covariance.diagonal() << 1, 1, v.altitude_sigma_m * v.altitude_sigma_m, unknown * unknown,
            unknown * unknown, v.vertical_speed_sigma_mps * v.vertical_speed_sigma_mps;
        start.covariance.diagonal().array() += 1e-4;
    }
    // Apogee is where the vehicle's middle was; height errors below a metre are not worth believing.
    start.covariance(2, 2) += 0.63 * 0.63;
    if (const auto lift_off = flight.phases().time_of(Moment::lift_off))
        start.since_ignition_s = seconds_between(*lift_off, start.t_ns);
    const auto& parachutes = rocket_->parachutes;
    const double up_m = start.position_enu_m.z(), down_mps = std::max(0.0, -start.velocity_enu_mps.z());
    if (const auto apogee = flight.phases().time_of(Moment::apogee);
        apogee && phase_ == Phase::descent && !parachutes.empty())
        start.first_stayed_shut = seconds_between(*apogee, start.t_ns) > parachutes[0].delay_s + kSeenWithin_s;
    if ((phase_ == Phase::descent || phase_ == Phase::drogue_descent) && parachutes.size() > 1) {
        start.later_stayed_shut =
            up_m < parachutes[1].trigger_height_m - down_mps * (parachutes[1].delay_s + kSeenWithin_s);
    }
    // Stale: the vehicle has fallen silent, and a prediction from long ago would look like a new one.
    return seconds_between(start.t_ns, t_ns) < 3.0 ? std::optional(start) : std::nullopt;
}

void PredictionStage::learn_descent(std::int64_t t_ns, const Navigation* navigation, const FlightState& flight,
                                    WindProfile& wind) {
    if ((phase_ != Phase::drogue_descent && phase_ != Phase::main_descent) ||
        seconds_between(t_phase_ns_, t_ns) < kSettle_s || !flight.air())
        return;
    const VerticalEstimate v = flight.vertical();
    if (v.valid) {
        fit_.hanging(phase_ == Phase::main_descent ? 1 : 0, -v.vertical_speed_mps, v.vertical_speed_sigma_mps,
                     flight.air()->density_kg_m3, gravity_mps2_);
    }
    if (navigation == nullptr || !navigation->moving() || seconds_between(t_drift_ns_, t_ns) < kDrift_s) return;
    t_drift_ns_ = t_ns;
    const NavigationEstimate e = navigation->estimate();
    if (e.mode != NavigationMode::aided) return;
    const Vector2d drift = e.velocity_enu_mps.head<2>();
    const double behind_m = e.velocity_enu_mps.z() * e.velocity_enu_mps.z() / gravity_mps2_;
    wind.measure(e.position_enu_m.z() + behind_m, drift,
                 std::hypot(kGustFloor_mps + kGustOfWind * drift.norm(), e.velocity_sigma_mps.head<2>().maxCoeff()));
}

void PredictionStage::tick(std::int64_t t_ns, const Navigation* navigation, const FlightState& flight,
                           WindProfile& wind, EstimateSink& sink) {
    const Phase phase = flight.phases().phase();
    if (phase != phase_) {
        if (phase == Phase::on_pad) fit_.reset();
        phase_ = phase;
        t_phase_ns_ = t_ns;
        t_round_ns_ = 0;
    }
    learn_descent(t_ns, navigation, flight, wind);
    if (!imu_since_tick_) advance(kBlocksPerTick, wind, sink);
    imu_since_tick_ = false;
    const double period_s = period_s_ * (phase_ == Phase::on_pad ? kPadPeriods : 1.0);
    // The pad's reference is learnt in the first seconds; before there is a pressure the day's air is the site file's.
    if (predictor_.busy() || phase_ == Phase::landed || phase_ == Phase::presumed_down ||
        seconds_between(t_round_ns_, t_ns) < period_s - 0.05)
        return;
    if (const auto start = state(t_ns, navigation, flight)) {
        t_round_ns_ = t_ns;
        predictor_.start(*start, fit_, wind, flight.atmosphere());
    }
}

void PredictionStage::report(const Prediction& prediction, const WindProfile& wind, EstimateSink& sink) {
    if (prediction.has_apogee) {
        const std::array<double, 11> row{
            prediction.apogee_m,         prediction.apogee_sigma_m, prediction.apogee_low_m,
            prediction.apogee_high_m,    prediction.apogee_in_s,    prediction.apogee_in_low_s,
            prediction.apogee_in_high_s, fit_.thrust().value,       fit_.thrust().sigma,
            fit_.drag().value,           fit_.drag().sigma};
        sink.row(ascent_table_, prediction.t_ns, row);
    }
    if (!prediction.has_landing) return;
    std::array<double, 43> row;
    row.fill(kNaN);
    std::size_t at = 0;
    for (const auto& landing : prediction.landing) {
        if (landing) {
            const GeodeticPosition place = frame_.to_geodetic({landing->mean_m.x(), landing->mean_m.y(), 0});
            const Ellipse shape = ellipse(landing->covariance_m2, 0.95);
            const std::array<double, 9> values{landing->mean_m.x(), landing->mean_m.y(), place.latitude_deg,
                                               place.longitude_deg, shape.semi_major_m,  shape.semi_minor_m,
                                               shape.bearing_deg,   landing->time_s,     landing->outside};
            std::copy(values.begin(), values.end(), row.begin() + static_cast<std::ptrdiff_t>(at));
        }
        at += 9;
    }
    for (std::size_t k = 0; k < 2; ++k) {
        row[at++] = fit_.canopy(k).value;
        row[at++] = fit_.canopy(k).sigma;
    }
    for (const double height_m : {0.0, 300.0, 1000.0})
        for (const double value : wind_words(wind, height_m)) row[at++] = value;
    row[at++] = predictor_.flat_ground() ? 0 : 1;
    row[at++] = Predictor::kFlights;
    row[at++] = static_cast<double>(Predictor::kSeed);
    sink.row(landing_table_, prediction.t_ns, row);
    if (!ground_announced_) {
        ground_announced_ = true;
        if (predictor_.flat_ground()) {
            sink.event(
                {prediction.t_ns, 0.0, EventKind::flight_event, Level::note, "estimate/landing/flat_ground",
                 "Landing predictions assume flat ground at the pad's height: the site file gives no height grid"});
        }
        if (wind.unknown()) {
            sink.event({prediction.t_ns, 0.0, EventKind::flight_event, Level::advisory, "estimate/landing/wind_unknown",
                        "Landing predictions know no wind: give the site file a wind table"});
        }
    }
}

void PredictionStage::watch_boundary(const Prediction& prediction, EstimateSink& sink) {
    if (!prediction.landing[0] || !std::isfinite(prediction.landing[0]->outside)) return;
    const double outside = prediction.landing[0]->outside;
    if (!outside_announced_ && outside > kRaise) {
        outside_announced_ = true;
        std::array<char, 160> text{};
        std::snprintf(
            text.data(), text.size(),
            "%.0f %% of predicted landings lie outside the boundary. Advisory: the range safety officer decides",
            100 * outside);
        sink.event({prediction.t_ns, 0.0, EventKind::alert_raised, Level::advisory, "estimate/landing/outside_boundary",
                    text.data()});
    } else if (outside_announced_ && outside < kClear) {
        outside_announced_ = false;
        sink.event({prediction.t_ns, 0.0, EventKind::alert_cleared, Level::note, "estimate/landing/outside_boundary",
                    "Predicted landings lie inside the boundary again"});
    }
}

} // namespace turnstone
