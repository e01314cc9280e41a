#include "server/estimate/chain.hpp"

#include <optional>

#include "server/estimate/flight_state.hpp"

namespace turnstone {

struct EstimatorChain::State {
    const Vehicle* vehicle;
    const Site* site;
    ChainInputs inputs;
    std::vector<EstimateTable> tables;
    std::vector<MissingInput> missing;
    std::optional<FlightState> flight; ///< air data, vertical motion, phases; of a rocket only

    void add_flight() {
        if (!vehicle->rocket) return;
        if (!inputs.pressure) missing.push_back({"air", "static_pressure"});
        if (inputs.accel_axial || inputs.pressure) {
            flight.emplace(*vehicle, *site, inputs.accel_axial, inputs.pressure, tables);
            return;
        }
        missing.push_back({"vertical", "accel_body_x or static_pressure"});
        missing.push_back({"phase", "accel_body_x or static_pressure"});
    }
};

EstimatorChain::EstimatorChain(const Vehicle& vehicle, const Site& site, const ChainInputs& inputs)
    : state_(std::make_unique<State>(State{&vehicle, &site, inputs, {}, {}, {}})) {
    state_->add_flight();
}
EstimatorChain::~EstimatorChain() = default;
EstimatorChain::EstimatorChain(EstimatorChain&&) noexcept = default;

const std::vector<EstimateTable>& EstimatorChain::tables() const noexcept { return state_->tables; }
const std::vector<MissingInput>& EstimatorChain::missing() const noexcept { return state_->missing; }

void EstimatorChain::imu(const ImuSample& sample, EstimateSink& sink) {
    if (state_->flight) state_->flight->imu(sample, std::nullopt, sink);
}
void EstimatorChain::pressure(const PressureSample& sample, EstimateSink& sink) {
    if (state_->flight) state_->flight->pressure(sample, kNaN, kNaN, sink);
}
void EstimatorChain::fix(const FixSample&, EstimateSink&) {}
void EstimatorChain::mag(const MagSample&, EstimateSink&) {}
void EstimatorChain::onboard(const OnboardSample&, EstimateSink&) {}
void EstimatorChain::wind(const WindSample&, EstimateSink&) {}
void EstimatorChain::engine(const EngineSample&, EstimateSink&) {}
void EstimatorChain::tick(std::int64_t t_ns, EstimateSink& sink) {
    if (state_->flight) state_->flight->tick(t_ns, sink);
}
void EstimatorChain::reboot(std::int64_t, EstimateSink&) {}

} // namespace turnstone
