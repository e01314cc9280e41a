#include "server/monitor/monitor.hpp"

namespace turnstone {

std::vector<TableDescription> monitor_tables(const VehicleSetup&) {
    return {};
}

Monitor::Monitor(const PipelineSetup& setup, const Schema& schema) : setup_(&setup) {
    for (std::size_t v = 0; v < setup.vehicles.size(); ++v)
        vehicles_.push_back({static_cast<int>(v), FlightViewer(schema, static_cast<int>(v))});
}

void Monitor::see(Batch& batch, Marks from) {
    for (VehicleWatch& each : vehicles_) each.viewer.see(batch, from);
}

void Monitor::tick(std::int64_t t_ns, Batch&) {
    for (VehicleWatch& each : vehicles_) {
        conditions_.clear();
        (void)each.viewer.at(t_ns);
    }
}

} // namespace turnstone
