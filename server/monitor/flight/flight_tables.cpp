#include "server/monitor/flight/flight_tables.hpp"

#include <string>

#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr double kDeploymentPeriod_s = 0.5;

} // namespace

std::vector<TableDescription> FlightTables::of(const VehicleSetup& vehicle) {
    std::vector<TableDescription> tables;
    if (const auto deployment = DeploymentWatch::table(vehicle.vehicle)) tables.push_back(deployment->about());
    tables.push_back(last_place_table().about());
    return tables;
}

FlightTables::FlightTables(const PipelineSetup& setup, const Schema& schema, std::size_t vehicle)
    : vehicle_{static_cast<int>(vehicle), setup.vehicles[vehicle].dictionary.vehicle},
      deployment_rows_(DeploymentWatch::table(setup.vehicles[vehicle].vehicle)),
      sentence_(setup.vehicles[vehicle].vehicle) {
    const std::string stem = std::string(vehicle_.name) + "/estimate/";
    for (const Table& table : schema.tables) {
        if (table.name == stem + "deployment") deployment_ = &table;
        if (table.name == stem + "last_place") last_place_ = &table;
    }
}

void FlightTables::write(const FlightView& view, const DeploymentWatch& deployment, const Event* alert, Batch& out) {
    if (deployment_ != nullptr && deployment_rows_) write_deployment(view, deployment.figures(), out);
    if (last_place_ != nullptr) write_last_place(view, out);
    if (auto said = sentence_.next(view, deployment, alert))
        out.events.push_back(make_event(std::move(*said), view.t_ns, vehicle_));
}

void FlightTables::write_deployment(const FlightView& view, const DeploymentFigures& figures, Batch& out) {
    std::vector<ParachuteState> states;
    for (const ParachuteFigures& parachute : figures.parachutes) states.push_back(parachute.state);
    const bool due = view.in_flight() && seconds_between(t_deployment_ns_, view.t_ns) >= kDeploymentPeriod_s;
    if (!due && states == states_) return;
    states_ = std::move(states);
    t_deployment_ns_ = view.t_ns;
    out.add_row(*deployment_, view.t_ns, view.t_ns, deployment_rows_->row(figures));
}

void FlightTables::write_last_place(const FlightView& view, Batch& out) {
    if (const auto place = place_.next(view))
        out.add_row(*last_place_, place->t_ns, view.t_ns, last_place_rows_.row(*place));
}

} // namespace turnstone
