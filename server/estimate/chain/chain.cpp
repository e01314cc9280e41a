#include "server/estimate/chain/chain.hpp"

#include <cmath>
#include <optional>

#include "server/estimate/air/wind_profile.hpp"
#include "server/estimate/chain/flight_state.hpp"
#include "server/estimate/chain/navigation_stage.hpp"
#include "server/estimate/chain/prediction_stage.hpp"
#include "server/estimate/sensors/engine_hours.hpp"
#include "shared/geodesy.hpp"
#include "shared/time.hpp"

namespace turnstone {

struct EstimatorChain::State {
    const Vehicle* vehicle;
    const Site* site;
    ChainInputs inputs;
    std::vector<EstimateTable> tables;
    std::vector<MissingInput> missing;
    std::optional<FlightState> flight; ///< air data, vertical motion, phases; of a rocket only
    std::optional<NavigationStage> navigation;
    std::optional<PredictionStage> prediction;
    std::optional<LocalFrame> frame; ///< at the pad
    std::optional<WindProfile> wind;
    std::optional<EngineHours> engine;
    std::size_t engine_table_index = 0;
    std::int64_t t_engine_row_ns = 0;

    void add_engine() {
        if (!inputs.engine) return;
        engine.emplace(vehicle->engine_running_threshold_rpm, 0.0);
        engine_table_index = tables.size();
        tables.push_back(engine_table());
    }

    [[nodiscard]] const Navigation* attitude() const { return navigation ? &navigation->navigation() : nullptr; }

    void add_navigation() {
        wind.emplace(*site);
        if (inputs.accel_axial && inputs.accel_lateral && inputs.rates) {
            navigation.emplace(*vehicle, *site, inputs.onboard, tables);
            return;
        }
        const char* lacking =
            inputs.rates ? "accel_body_x, accel_body_y and accel_body_z" : "rate_body_x, rate_body_y and rate_body_z";
        missing.push_back({"navigation", lacking});
        missing.push_back({"look", lacking});
    }

    void add_flight() {
        if (!vehicle->rocket) return;
        if (!inputs.pressure) missing.push_back({"air", "static_pressure"});
        if (inputs.accel_axial || inputs.pressure) {
            flight.emplace(*vehicle, *site, inputs.accel_axial, inputs.pressure, tables);
            add_navigation();
            prediction.emplace(*vehicle->rocket, *site, tables);
            return;
        }
        missing.push_back({"vertical", "accel_body_x or static_pressure"});
        missing.push_back({"phase", "accel_body_x or static_pressure"});
        missing.push_back({"ascent", "accel_body_x or static_pressure"});
        missing.push_back({"landing", "accel_body_x or static_pressure"});
    }
};

EstimatorChain::EstimatorChain(const Vehicle& vehicle, const Site& site, const ChainInputs& inputs)
    : state_(std::make_unique<State>(
          State{&vehicle, &site, inputs, {}, {}, {}, {}, {}, LocalFrame(site.pad), {}, {}, 0, 0})) {
    state_->add_flight();
    state_->add_engine();
}
EstimatorChain::~EstimatorChain() = default;
EstimatorChain::EstimatorChain(EstimatorChain&&) noexcept = default;

const std::vector<EstimateTable>& EstimatorChain::tables() const noexcept {
    return state_->tables;
}
const std::vector<MissingInput>& EstimatorChain::missing() const noexcept {
    return state_->missing;
}

void EstimatorChain::imu(const ImuSample& sample, EstimateSink& sink) {
    State& s = *state_;
    if (!s.flight) return;
    if (s.navigation) s.navigation->imu(sample, s.flight->phases());
    s.flight->imu(sample, s.navigation ? s.navigation->tilt() : std::nullopt, sink);
    if (s.navigation) s.navigation->report(sample, *s.wind, sink);
    s.prediction->imu(sample, s.attitude(), *s.flight, *s.wind, sink);
}
void EstimatorChain::pressure(const PressureSample& sample, EstimateSink& sink) {
    State& s = *state_;
    if (!s.flight) return;
    const Eigen::Vector2d air_speed = s.navigation ? s.navigation->air_speed_mps(*s.wind) : Eigen::Vector2d(kNaN, kNaN);
    const bool usable = s.flight->pressure(sample, air_speed.x(), air_speed.y(), sink);
    if (usable && s.navigation) s.navigation->height(sample.t_ns, *s.flight->air(), *s.flight->air_speed());
}
void EstimatorChain::fix(const FixSample& sample, EstimateSink&) {
    State& s = *state_;
    if (s.navigation) s.navigation->fix(sample);
    if (!s.flight || sample.fix_dimensions < 2) return;
    const Eigen::Vector3d enu_m = s.frame->to_enu_m({sample.latitude_deg, sample.longitude_deg, s.site->pad.height_m});
    s.flight->ground_distance(enu_m.head<2>().norm());
}
void EstimatorChain::mag(const MagSample& sample, EstimateSink&) {
    if (state_->navigation) state_->navigation->mag(sample);
}
void EstimatorChain::onboard(const OnboardSample& sample, EstimateSink& sink) {
    if (state_->navigation) state_->navigation->onboard(sample, state_->flight->stated(), sink);
}
void EstimatorChain::wind(const WindSample& sample) {
    if (state_->wind) state_->wind->anemometer(sample.t_ns, sample.speed_mps, sample.from_deg);
}
void EstimatorChain::engine(const EngineSample& sample, EstimateSink& sink) {
    if (!state_->engine) return;
    state_->engine->sample(sample);
    if (seconds_between(state_->t_engine_row_ns, sample.t_ns) < 1.0) return;
    state_->t_engine_row_ns = sample.t_ns;
    sink.row(state_->engine_table_index, sample.t_ns, state_->engine->row());
}
bool EstimatorChain::continue_engine(double running_s) {
    if (!state_->engine || !std::isfinite(running_s) || running_s < 0) return false;
    state_->engine->continue_from(running_s);
    return true;
}
std::optional<double> EstimatorChain::engine_running_s() const {
    return state_->engine ? std::optional(state_->engine->total_s()) : std::nullopt;
}
void EstimatorChain::tick(std::int64_t t_ns, EstimateSink& sink) {
    if (state_->flight) state_->flight->tick(t_ns, sink);
    if (state_->navigation) state_->navigation->tick(t_ns, sink);
    if (state_->prediction) state_->prediction->tick(t_ns, state_->attitude(), *state_->flight, *state_->wind, sink);
}
void EstimatorChain::reboot(std::int64_t, EstimateSink&) {
    if (state_->flight) state_->flight->reboot();
}
void EstimatorChain::set_prediction_period(double period_s) {
    if (state_->prediction) state_->prediction->set_period(period_s);
}

} // namespace turnstone
