#include "server/estimate/chain.hpp"

namespace turnstone {

struct EstimatorChain::State {
    const Vehicle* vehicle;
    const Site* site;
    ChainInputs inputs;
    std::vector<EstimateTable> tables;
    std::vector<MissingInput> missing;
};

EstimatorChain::EstimatorChain(const Vehicle& vehicle, const Site& site, const ChainInputs& inputs)
    : state_(std::make_unique<State>(State{&vehicle, &site, inputs, {}, {}})) {}
EstimatorChain::~EstimatorChain() = default;
EstimatorChain::EstimatorChain(EstimatorChain&&) noexcept = default;

const std::vector<EstimateTable>& EstimatorChain::tables() const noexcept { return state_->tables; }
const std::vector<MissingInput>& EstimatorChain::missing() const noexcept { return state_->missing; }

void EstimatorChain::imu(const ImuSample&, EstimateSink&) {}
void EstimatorChain::pressure(const PressureSample&, EstimateSink&) {}
void EstimatorChain::fix(const FixSample&, EstimateSink&) {}
void EstimatorChain::mag(const MagSample&, EstimateSink&) {}
void EstimatorChain::onboard(const OnboardSample&, EstimateSink&) {}
void EstimatorChain::wind(const WindSample&, EstimateSink&) {}
void EstimatorChain::engine(const EngineSample&, EstimateSink&) {}
void EstimatorChain::tick(std::int64_t, EstimateSink&) {}
void EstimatorChain::reboot(std::int64_t, EstimateSink&) {}

} // namespace turnstone
