#include "server/estimate/chain/chain.hpp"

#include <cmath>
#include <numbers>

#include "server/estimate/chain/flight_estimator.hpp"
#include "server/estimate/chain/flight_report.hpp"
#include "server/estimate/chain/navigation_report.hpp"
#include "server/estimate/chain/picture.hpp"
#include "server/estimate/chain/prediction_report.hpp"
#include "server/estimate/chain/prediction_rounds.hpp"
#include "server/estimate/sensors/engine_hours.hpp"
#include "shared/geodesy.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kTiltUsable_rad = 0.1;
/// Steady port error, of dynamic pressure, 1-sigma: navigation does not estimate it.
constexpr double kPortFraction = 0.05;
constexpr double kEngineRow_s = 1.0;

/// An estimator and the tables it is reported in.
struct FlightPart {
    FlightEstimator estimator;
    FlightReport report;
};
struct NavigationPart {
    Navigation estimator;
    NavigationReport report;
};
struct PredictionPart {
    PredictionRounds rounds;
    PredictionReport report;
};
struct EnginePart {
    EngineHours hours;
    RowWriter<EngineFigures> rows;
    std::int64_t t_row_ns = 0;
};

/// The vertical filter gets tilt only when it is sure enough, and only on the way up: under a parachute a 200 Hz sensor
/// aliases shocks, and its acceleration is worse than none.
NavigationPicture picture_of(const Navigation& navigation, Motion motion) {
    NavigationPicture out;
    out.moving = navigation.moving();
    if (!out.moving) return out;
    const EskfNominal& nominal = navigation.best_nominal();
    out.position_enu_m = nominal.position_enu_m;
    out.velocity_enu_mps = nominal.velocity_enu_mps;
    out.vertical_speed_sigma_mps = navigation.vertical_speed_sigma_mps();
    out.axial_bias_mps2 = nominal.accel_bias_mps2.x();
    if (motion == Motion::boost || motion == Motion::coast) out.tilt = navigation.tilt();
    if (out.tilt && !(out.tilt->sigma_rad < kTiltUsable_rad)) out.tilt.reset();
    return out;
}

AirSpeed air_speed_of(const Navigation& navigation, const WindProfile& wind) {
    if (wind.unknown() || !navigation.moving()) return {};
    const NavigationEstimate e = navigation.estimate();
    const Eigen::Vector3d flow_mps = wind.against_air_mps(e.velocity_enu_mps, e.position_enu_m.z());
    const double by_wind_mps =
        wind.sigma_mps(e.position_enu_m.z()) * flow_mps.head<2>().norm() / std::max(1.0, flow_mps.norm());
    return {flow_mps.norm(), std::hypot(e.velocity_sigma_mps.norm() / std::numbers::sqrt3, by_wind_mps)};
}

/// The slowly changing part of a pressure altitude's 1-sigma.
double systematic_sigma_m(const AirPicture& air) {
    const double q_pa = std::isfinite(air.speeds.dynamic_pressure_pa) ? air.speeds.dynamic_pressure_pa : 0.0;
    const double port_m = std::hypot(port_noise_pa(air.speeds.mach, q_pa), kPortFraction * q_pa) /
                          (air.heights.density_kg_m3 * kGravityStandard_mps2);
    return std::hypot(air.heights.above_pad_sigma_m, port_m);
}

} // namespace

struct EstimatorChain::State {
    State(const Vehicle& vehicle_in, const Site& site_in, const ChainInputs& inputs)
        : vehicle(vehicle_in), site(site_in), frame(site_in.pad) {
        if (vehicle.rocket) add_flight(inputs);
        if (inputs.engine)
            engine = EnginePart{EngineHours(vehicle.engine_running_threshold_rpm, 0.0), {engine_table(), tables}};
    }

    void add_flight(const ChainInputs& inputs) {
        if (!inputs.pressure) missing.push_back({"air", {"static_pressure"}});
        if (!inputs.accel_axial && !inputs.pressure) {
            for (const char* estimator : {"vertical", "phase", "ascent", "landing"})
                missing.push_back({estimator, {"accel_body_x", "static_pressure"}, true});
            return;
        }
        wind.emplace(site);
        flight.emplace(FlightPart{FlightEstimator(vehicle, site, inputs.accel_axial, inputs.pressure),
                                  FlightReport(inputs.pressure, tables)});
        add_navigation(inputs);
        prediction.emplace(PredictionPart{PredictionRounds(*vehicle.rocket, site), PredictionReport(site, tables)});
        picture.atmosphere = &flight->estimator.atmosphere();
        picture.wind = &*wind;
    }

    void add_navigation(const ChainInputs& inputs) {
        if (inputs.accel_axial && inputs.accel_lateral && inputs.rates) {
            navigation.emplace(
                NavigationPart{Navigation(vehicle.sensors, site), NavigationReport(site, inputs.onboard, tables)});
            return;
        }
        const std::vector<std::string> lacking =
            inputs.rates ? std::vector<std::string>{"accel_body_x", "accel_body_y", "accel_body_z"}
                         : std::vector<std::string>{"rate_body_x", "rate_body_y", "rate_body_z"};
        missing.push_back({"navigation", lacking});
        missing.push_back({"look_angles", lacking});
    }

    [[nodiscard]] const Navigation* attitude() const { return navigation ? &navigation->estimator : nullptr; }

    void report(const std::optional<Prediction>& prediction_made, EstimateSink& sink) {
        if (prediction_made) prediction->report.write(*prediction_made, prediction->rounds, *wind, sink);
    }

    const Vehicle& vehicle;
    const Site& site;
    LocalFrame frame; ///< at the pad
    std::vector<TableDescription> tables;
    std::vector<MissingInput> missing;
    FlightPicture picture;
    std::optional<WindProfile> wind; ///< with a flight: of a rocket only
    std::optional<FlightPart> flight;
    std::optional<NavigationPart> navigation; ///< only with a flight
    std::optional<PredictionPart> prediction; ///< always with a flight
    std::optional<EnginePart> engine;
};

EstimatorChain::EstimatorChain(const Vehicle& vehicle, const Site& site, const ChainInputs& inputs)
    : state_(std::make_unique<State>(vehicle, site, inputs)) {}
EstimatorChain::~EstimatorChain() = default;
EstimatorChain::EstimatorChain(EstimatorChain&&) noexcept = default;

const std::vector<TableDescription>& EstimatorChain::tables() const noexcept {
    return state_->tables;
}
const std::vector<MissingInput>& EstimatorChain::missing() const noexcept {
    return state_->missing;
}

/// Attitude, then phases and vertical motion with its tilt, then predictions from both.
void EstimatorChain::imu(const ImuSample& sample, EstimateSink& sink) {
    State& s = *state_;
    if (!s.flight) return;
    if (s.navigation) {
        Navigation& navigation = s.navigation->estimator;
        navigation.set_motion(s.picture.phase.motion);
        navigation.imu(sample);
        s.picture.navigation = picture_of(navigation, s.picture.phase.motion);
    }
    const auto news = s.flight->estimator.imu(sample, s.picture, sink);
    s.flight->report.write(news, s.picture, s.flight->estimator, sink);
    if (s.navigation) s.navigation->report.write(sample.t_ns, s.navigation->estimator, *s.wind, sink);
    s.report(s.prediction->rounds.imu(sample, s.picture), sink);
}

/// Speed against the air, then air data and vertical motion, then navigation with the height.
void EstimatorChain::pressure(const PressureSample& sample, EstimateSink& sink) {
    State& s = *state_;
    if (!s.flight) return;
    if (s.navigation) s.picture.air_speed = air_speed_of(s.navigation->estimator, *s.wind);
    const auto news = s.flight->estimator.pressure(sample, s.picture, sink);
    s.flight->report.write(news, s.picture, s.flight->estimator, sink);
    if (news.air && s.navigation) {
        const AirPicture& air = *s.picture.air;
        s.navigation->estimator.height(sample.t_ns, air.heights.above_pad_m, air.heights.above_pad_noise_m,
                                       systematic_sigma_m(air));
    }
}

void EstimatorChain::fix(const FixSample& sample) {
    State& s = *state_;
    if (s.navigation) s.navigation->estimator.fix(sample);
    if (!s.flight || sample.fix_dimensions < 2) return;
    const Eigen::Vector3d enu_m = s.frame.to_enu_m({sample.latitude_deg, sample.longitude_deg, s.site.pad.height_m});
    s.flight->estimator.ground_distance(enu_m.head<2>().norm());
}

void EstimatorChain::mag(const MagSample& sample) {
    if (state_->navigation) state_->navigation->estimator.mag(sample);
}

void EstimatorChain::onboard(const OnboardSample& sample, EstimateSink& sink) {
    State& s = *state_;
    if (!s.navigation) return;
    s.navigation->report.onboard_comparison(sample, s.flight->estimator.with_lapse(s.picture.vertical),
                                            s.navigation->estimator, sink);
}

void EstimatorChain::wind(const WindSample& sample) {
    if (state_->wind) state_->wind->anemometer(sample.t_ns, sample.speed_mps, sample.from_deg);
}

void EstimatorChain::engine(const EngineSample& sample, EstimateSink& sink) {
    auto& engine = state_->engine;
    if (!engine) return;
    engine->hours.sample(sample);
    if (seconds_between(engine->t_row_ns, sample.t_ns) < kEngineRow_s) return;
    engine->t_row_ns = sample.t_ns;
    engine->rows.write(sample.t_ns, engine->hours.figures(), sink);
}

void EstimatorChain::tick(std::int64_t t_ns, EstimateSink& sink) {
    State& s = *state_;
    if (!s.flight) return;
    const auto news = s.flight->estimator.tick(t_ns, s.picture, sink);
    s.flight->report.write(news, s.picture, s.flight->estimator, sink);
    if (s.navigation) s.navigation->report.tick(t_ns, s.navigation->estimator, sink);
    s.report(s.prediction->rounds.tick(t_ns, s.picture, s.attitude(), *s.wind), sink);
}

void EstimatorChain::reboot() {
    if (state_->flight) state_->flight->estimator.reboot();
}

bool EstimatorChain::continue_engine(double running_s) {
    if (!state_->engine || !std::isfinite(running_s) || running_s < 0) return false;
    state_->engine->hours.continue_from(running_s);
    return true;
}

std::optional<double> EstimatorChain::engine_running_s() const {
    return state_->engine ? std::optional(state_->engine->hours.total_s()) : std::nullopt;
}

void EstimatorChain::set_prediction_period(double period_s) {
    if (state_->prediction) state_->prediction->rounds.set_period(period_s);
}

void EstimatorChain::pause_predictions(bool paused) {
    if (state_->prediction) state_->prediction->rounds.pause(paused);
}

void EstimatorChain::fly_one_prediction_in(std::uint64_t rounds) {
    if (state_->prediction) state_->prediction->rounds.fly_one_in(rounds);
}

bool EstimatorChain::fly_due() {
    return state_->prediction && state_->prediction->rounds.fly_due();
}

void EstimatorChain::recall_outside(std::string_view case_stem, bool outside) {
    if (state_->prediction) state_->prediction->report.recall_outside(case_stem, outside);
}

std::optional<std::int64_t> EstimatorChain::away_since_ns() const {
    const State& s = *state_;
    if (!s.flight || s.picture.phase.phase == Phase::on_rail) return std::nullopt;
    return s.picture.phase.liftoff_ns;
}

} // namespace turnstone::estimate
