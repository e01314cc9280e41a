#include "server/estimate/chain/chain.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "server/estimate/chain/flight_estimator.hpp"
#include "server/estimate/chain/flight_report.hpp"
#include "server/estimate/chain/navigation_report.hpp"
#include "server/estimate/chain/onboard_report.hpp"
#include "server/estimate/chain/picture.hpp"
#include "server/estimate/chain/plain_motion.hpp"
#include "server/estimate/chain/prediction_report.hpp"
#include "server/estimate/chain/prediction_rounds.hpp"
#include "server/estimate/chain/wind_report.hpp"
#include "server/estimate/math/square.hpp"
#include "server/estimate/navigation/carried.hpp"
#include "server/estimate/navigation/eskf.hpp"
#include "server/estimate/navigation/flow_angles.hpp"
#include "server/estimate/sensors/engine_hours.hpp"
#include "server/estimate/sensors/usual_pause.hpp"
#include "server/estimate/translation/translation_filter.hpp"
#include "server/estimate/translation/translation_input.hpp"
#include "shared/geodesy.hpp"
#include "shared/time.hpp"

namespace turnstone::estimate {

namespace {

constexpr double kTiltUsable_rad = 0.1;
constexpr double kEngineRow_s = 1.0;

/// An estimator and the tables it is reported in.
struct FlightPart {
    FlightEstimator estimator;
    FlightReport report;
};
struct TranslationPart {
    TranslationInput input;
    TranslationFilter filter;
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
    if (motion != Motion::descent) out.tilt = navigation.tilt();
    if (out.tilt && !(out.tilt->sigma_rad < kTiltUsable_rad)) out.tilt.reset();
    return out;
}

/// Nothing while slow, where its direction is all error, and on the ground, where gusts pass by: what a descent learned
/// of them is soon of other air.
AirSpeed air_speed_of(const Navigation& navigation, const WindProfile& wind, Phase phase) {
    if (wind.unknown() || !navigation.moving() || phase == Phase::down) return {};
    const EskfNominal nominal = navigation.nominal();
    const double height_m = nominal.position_enu_m.z();
    const Eigen::Vector3d flow_mps = wind.against_air_mps(nominal.velocity_enu_mps, height_m);
    Eigen::Matrix3d covariance = navigation.covariance().block<3, 3>(Eskf::kVelocity, Eskf::kVelocity);
    covariance.diagonal().head<2>().array() += square(wind.sigma_mps(height_m));
    covariance(2, 2) += square(wind.gust_up_mps());
    const double speed_mps = flow_mps.norm();
    if (!(speed_mps > kFlowUsable_mps)) return {};
    const Eigen::Vector3d along = flow_mps / speed_mps;
    return {navigation.t_ns(), speed_mps, std::sqrt(std::max(0.0, along.dot(covariance * along)))};
}

/// What air flowing past the ports does to a pressure altitude, 1-sigma: at any moment, and as a steady coefficient.
struct PortSigmas {
    double noise_m, steady_m;
};
PortSigmas port_sigmas(const AirPicture& air, double coefficient_sigma) {
    const double q_pa = std::isfinite(air.speeds.dynamic_pressure_pa) ? air.speeds.dynamic_pressure_pa : 0.0;
    const double pa_per_m = air.heights.density_kg_m3 * kGravityStandard_mps2;
    return {port_noise_pa(air.speeds.mach, q_pa) / pa_per_m, coefficient_sigma * q_pa / pa_per_m};
}

/// With a second accelerometer a reading beyond the first one's range is not a fault.
Vehicle with_range(Vehicle vehicle, double accel_range_mps2) {
    vehicle.sensors.accel_range_mps2 = std::max(vehicle.sensors.accel_range_mps2, accel_range_mps2);
    return vehicle;
}

} // namespace

struct EstimatorChain::State {
    State(const Vehicle& vehicle_in, const Site& site_in, const ChainInputs& inputs)
        : vehicle(with_range(vehicle_in, inputs.accel_range_mps2)), site(site_in) {
        if (vehicle.rocket) missing = missing_inputs(inputs);
        const bool moves = inputs.pressure || inputs.fix;
        const bool flies = vehicle.rocket && (inputs.accel_axial || moves);
        feels_thrust = inputs.accel_axial;
        if (flies) {
            wind.emplace(site);
            flight.emplace(FlightPart{FlightEstimator(vehicle, site, inputs.accel_axial, inputs.pressure),
                                      FlightReport(inputs.pressure, tables)});
            picture.atmosphere = &flight->estimator.atmosphere();
            picture.wind = &*wind;
            if (inputs.triads()) navigation.emplace(vehicle.sensors, site, &*vehicle.rocket);
        }
        if (inputs.fix || (moves && !flies))
            translation.emplace(TranslationPart{TranslationInput(vehicle.sensors, site),
                                                TranslationFilter(translation_settings(vehicle.sensors))});
        if (moves && !flies) plain.emplace(vehicle, site, inputs.pressure, tables);
        if (navigation || inputs.fix) position_report.emplace(site, tables);
        if (inputs.onboard && (flies || moves)) onboard_report.emplace(tables);
        if (flies)
            prediction.emplace(PredictionPart{PredictionRounds(*vehicle.rocket, site), PredictionReport(site, tables)});
        if (inputs.wind) wind_report.emplace(tables);
        if (inputs.engine)
            engine = EnginePart{EngineHours(vehicle.engine_running_threshold_rpm, 0.0), {engine_table(), tables}};
    }

    [[nodiscard]] const Navigation* attitude() const { return navigation ? &*navigation : nullptr; }
    [[nodiscard]] PositionSources position(std::int64_t t_ns) {
        const Phase phase = picture.phase.phase;
        return {attitude(),
                translation ? &translation->filter : nullptr,
                wind && phase <= Phase::falling ? &*wind : nullptr,
                picture.air ? picture.air->heights.density_kg_m3 : kNaN,
                phase == Phase::down,
                may_have_left(t_ns) && !overdue(t_ns) && !seen_moving(),
                picture.phase.motion};
    }

    void take_fix(const FixSample& sample) {
        auto fix = translation->input.fix(sample);
        const bool stands = on_the_rail();
        if (!fix || !stands) fix_scatter.interrupt();
        fix_lost = !fix && sample.fix_dimensions < 2;
        if (!fix) return;
        const std::int64_t told_ns = sample.t_ns - seconds_to_ns(vehicle.sensors.fix_delay_s);
        const std::int64_t valid_ns = fix->t_valid_ns != 0 ? fix->t_valid_ns : told_ns;
        const bool hidden = may_hide_launch(sample.t_ns, valid_ns);
        fixes.heard(sample.t_ns, now_ns);
        if (stands) {
            const double new_part = std::sqrt(1 - vehicle.sensors.fix_correlated_share);
            fix_scatter.at_rest(
                sample.t_ns, fix->position_enu_m,
                new_part * Eigen::Vector3d(fix->horizontal_sigma_m, fix->horizontal_sigma_m, fix->vertical_sigma_m),
                fix->velocity_enu_mps, fix->speed_sigma_mps);
        }
        fix->scatter = picture.fix_scatter = fix_scatter.factors();
        TranslationFilter& filter = translation->filter;
        if (flight) filter.expect(expected(hidden));
        filter.fix(*fix);
        // Of what came after the fix was true it says nothing.
        if (flight && picture.phase.phase == Phase::on_rail) filter.on_the_rail(valid_ns);
        picture.translation = filter.estimate();
    }
    /// Rows of position after a measurement.
    void report_position(std::int64_t t_ns, EstimateSink& sink) {
        if (position_report) position_report->write(t_ns, position(t_ns), sink);
        if (plain) plain->write(t_ns, translation->filter, sink);
    }

    void report(const std::optional<Prediction>& prediction_made, EstimateSink& sink) {
        if (prediction_made) prediction->report.write(*prediction_made, prediction->rounds, *wind, sink);
    }

    /// Under a parachute a vehicle moves with the air, as soon as it has lost its own way in it: near its steady rate
    /// of descent v as exp(-g t / v), into the air of v / g before.
    void tell_of_air(std::int64_t t_ns) {
        constexpr double kOwnWay_mps = 20; // where a parachute opens
        const PhasePicture& flown = picture.phase;
        if (flown.phase != Phase::under_drogue && flown.phase != Phase::under_main) return;
        const EskfNominal& nominal = navigation->best_nominal();
        const double lag_s = std::max(0.1, std::abs(nominal.velocity_enu_mps.z()) / kGravityStandard_mps2);
        const double height_m = nominal.position_enu_m.z() + lag_s * std::abs(nominal.velocity_enu_mps.z());
        const double left_mps = kOwnWay_mps * std::exp(-seconds_between(flown.began_ns, t_ns) / lag_s);
        navigation->hangs(wind->at(height_m), std::hypot(wind->sigma_mps(height_m), WindProfile::kSwing_mps, left_mps));
    }
    /// As far as anybody has noticed.
    [[nodiscard]] bool on_the_rail() const {
        return flight && picture.phase.phase == Phase::on_rail && picture.phase.motion == Motion::rest;
    }
    /// An accelerometer tells of a launch, and is heard without a silence that may hide one.
    [[nodiscard]] bool feels_rest(std::int64_t t_ns) const {
        return feels_thrust && !inertial.overdue(t_ns) && !(navigation && navigation->rest_doubted());
    }
    /// On the rail, and no accelerometer would feel the launch.
    [[nodiscard]] bool may_have_left(std::int64_t t_ns) const {
        return on_the_rail() && !feels_rest(t_ns) && translation && translation->filter.t_measured_ns() != 0;
    }
    [[nodiscard]] bool seen_moving() const {
        constexpr double kMoves_mps = 3.0;
        return picture.translation.velocity_enu_mps.norm() > kMoves_mps;
    }
    /// The next measurement of the place should have come, or the receiver says that none will.
    [[nodiscard]] bool overdue(std::int64_t t_ns) const {
        return (fix_lost || fixes.overdue(t_ns)) && heights.overdue(t_ns);
    }
    /// Between the translation filter's newest measurement and one that was true at `t_valid_ns` none came on the rail,
    /// and there may have been the launch. Receivers lose their satellites in it.
    [[nodiscard]] bool may_hide_launch(std::int64_t t_ns, std::int64_t t_valid_ns) {
        if (!translation || !on_the_rail()) return false;
        if (may_have_left(t_ns) && overdue(t_ns)) t_hidden_ns = t_ns;
        return std::min(translation->filter.t_measured_ns(), t_valid_ns) < t_hidden_ns;
    }
    [[nodiscard]] Manoeuvre expected(bool hidden) const {
        return manoeuvre_of(hidden ? Motion::boost : picture.phase.motion);
    }
    void hear(std::int64_t t_ns) { now_ns = std::max(now_ns, t_ns); }

    const Vehicle vehicle;
    const Site& site;
    bool feels_thrust = false;
    std::vector<TableDescription> tables;
    std::vector<MissingInput> missing;
    FlightPicture picture;
    std::optional<WindProfile> wind; ///< with a flight: of a rocket only
    std::optional<FlightPart> flight;
    std::optional<Navigation> navigation; ///< only with a flight
    std::optional<TranslationPart> translation;
    FixScatter fix_scatter;
    bool fix_lost = false;   ///< the receiver says so
    std::int64_t now_ns = 0; ///< of everything heard, and of ticks
    UsualPause inertial, heights, fixes;
    std::int64_t t_hidden_ns = 0;     ///< the newest at which a launch might have been hidden
    std::optional<PlainMotion> plain; ///< only without a flight
    std::optional<NavigationReport> position_report;
    std::optional<OnboardReport> onboard_report;
    std::optional<PredictionPart> prediction; ///< always with a flight
    std::optional<WindReport> wind_report;
    std::optional<EnginePart> engine;
    StepsLeft* steps = nullptr; ///< for a backward pass; null: nothing is kept
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
    s.hear(sample.t_ns);
    s.inertial.heard(sample.t_ns, s.now_ns);
    if (s.navigation) {
        s.navigation->set_motion(s.picture.phase.motion);
        s.navigation->set_accel_range(s.flight->estimator.accel_range_mps2());
        s.navigation->imu(sample);
        if (s.navigation->moving()) s.tell_of_air(sample.t_ns);
        s.picture.navigation = picture_of(*s.navigation, s.picture.phase.motion);
    }
    const auto news = s.flight->estimator.imu(sample, s.picture, sink);
    s.flight->report.write(news, s.picture, sink);
    s.report_position(sample.t_ns, sink);
    s.report(s.prediction->rounds.imu(sample, s.picture), sink);
}

/// Speed against the air, then air data and vertical motion, then navigation with the height.
void EstimatorChain::pressure(const PressureSample& sample, EstimateSink& sink) {
    State& s = *state_;
    if (s.plain) s.plain->pressure(sample, s.translation->filter, sink);
    if (s.flight) {
        s.hear(sample.t_ns);
        // Navigation may learn from this height whether it left, but not when.
        const bool hidden = s.may_hide_launch(sample.t_ns, sample.t_ns);
        if (s.navigation) s.picture.air_speed = air_speed_of(*s.navigation, *s.wind, s.picture.phase.phase);
        const auto news = s.flight->estimator.pressure(sample, s.picture, sink);
        s.flight->report.write(news, s.picture, sink);
        if (news.air) {
            s.heights.heard(sample.t_ns, s.now_ns);
            const AirPicture& air = *s.picture.air;
            const PortSigmas port = port_sigmas(air, s.vehicle.sensors.port_coefficient_sigma);
            const double air_m = air.heights.above_pad_slow_m;
            if (s.navigation)
                s.navigation->height(sample.t_ns, air.heights.above_pad_m,
                                     std::hypot(air.heights.above_pad_noise_m, port.noise_m), air_m, port.steady_m);
            if (s.translation) {
                s.translation->filter.expect(s.expected(hidden));
                s.translation->filter.height(sample.t_ns, air.heights.above_pad_m, air.heights.above_pad_noise_m,
                                             std::hypot(air_m, port.noise_m, port.steady_m));
            }
        }
    }
    s.report_position(sample.t_ns, sink);
}

/// Position without attitude, then attitude with it, then phases and vertical motion.
void EstimatorChain::fix(const FixSample& sample, EstimateSink& sink) {
    State& s = *state_;
    if (!s.translation) return;
    s.hear(sample.t_ns);
    s.take_fix(sample);
    if (s.navigation) {
        s.navigation->set_fix_scatter(s.picture.fix_scatter);
        s.navigation->fix(sample);
        if (!s.navigation->valid()) s.navigation->align_in_motion(s.picture.translation);
    }
    if (s.flight) {
        const auto news = s.flight->estimator.fix(sample, s.picture, sink);
        s.flight->report.write(news, s.picture, sink);
    }
    s.report_position(sample.t_ns, sink);
}

void EstimatorChain::mag(const MagSample& sample) {
    if (state_->navigation) state_->navigation->mag(sample);
}

void EstimatorChain::onboard(const OnboardSample& sample, EstimateSink& sink) {
    State& s = *state_;
    if (!s.onboard_report) return;
    if (s.flight) {
        s.onboard_report->write(sample, s.picture.vertical, s.picture.translation, s.attitude(), sink);
    } else {
        const TranslationEstimate e = s.translation->filter.estimate();
        s.onboard_report->write(sample, vertical_of(e), e, nullptr, sink);
    }
}

void EstimatorChain::wind(const WindSample& sample) {
    if (state_->wind) state_->wind->anemometer(sample.t_ns, sample.speed_mps, sample.from_deg);
}

void EstimatorChain::anemometer(const WindSample& sample, EstimateSink& sink) {
    if (state_->wind_report) state_->wind_report->write(sample, sink);
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
    s.hear(t_ns);
    if (s.translation) {
        if (s.flight) s.translation->filter.expect(s.expected(s.may_hide_launch(t_ns, t_ns)));
        s.translation->filter.advance(t_ns);
        s.picture.translation = s.translation->filter.estimate();
    }
    if (s.plain) s.plain->write(t_ns, s.translation->filter, sink);
    if (s.flight) {
        const auto news = s.flight->estimator.tick(t_ns, s.picture, sink);
        s.flight->report.write(news, s.picture, sink);
    }
    if (s.position_report) s.position_report->tick(t_ns, s.position(t_ns), sink);
    if (!s.prediction) return;
    s.report(s.prediction->rounds.tick(t_ns, s.picture, s.attitude(), *s.wind), sink);
    const PredictionRounds::Asked& asked = s.prediction->rounds.asked();
    s.prediction->report.refused(asked.refusal, asked.from, sink);
}

void EstimatorChain::reboot() {
    if (state_->flight) state_->flight->estimator.reboot();
    if (state_->navigation) state_->navigation->reboot();
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

bool EstimatorChain::predicting() const noexcept {
    return state_->prediction && state_->prediction->rounds.busy();
}

bool EstimatorChain::predictions_lag() const noexcept {
    return state_->prediction && state_->prediction->rounds.lags();
}

void EstimatorChain::recall_outside(std::string_view case_stem, bool outside) {
    if (state_->prediction) state_->prediction->report.recall_outside(case_stem, outside);
}

void EstimatorChain::leave_steps(StepsLeft* steps) {
    state_->steps = steps;
    if (state_->flight) state_->flight->estimator.leave_steps(steps == nullptr ? nullptr : &steps->vertical);
    if (state_->translation) state_->translation->filter.leave_steps(steps == nullptr ? nullptr : &steps->translation);
    if (state_->navigation) state_->navigation->leave_steps(steps == nullptr ? nullptr : &steps->attitude);
}

void EstimatorChain::leave_last_steps() {
    State& s = *state_;
    if (s.steps == nullptr) return;
    if (s.translation) s.translation->filter.leave_last_steps();
    if (s.navigation) s.navigation->leave_last_steps();
    if (!s.flight) return;
    s.steps->reference_sigma_m = s.flight->estimator.reference_sigma_m();
    s.steps->day = s.flight->estimator.atmosphere();
}

std::optional<std::int64_t> EstimatorChain::away_since_ns() const {
    const State& s = *state_;
    if (!s.flight || s.picture.phase.phase == Phase::on_rail) return std::nullopt;
    return s.picture.phase.liftoff_ns;
}

} // namespace turnstone::estimate
