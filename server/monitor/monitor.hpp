#pragma once
/// What the figures of a pipeline mean to people: it follows what the pipeline makes, lets the watches judge it at
/// every tick, and keeps the book of alerts. Pure, as the pipeline is.
///
///     rows, events ──▶ FlightView ──▶ watches ──▶ Condition ──▶ AlertBook ──▶ events
///     alerts that estimators and links raise themselves ───────▶
#include <cstdint>
#include <string>
#include <vector>

#include "server/monitor/condition.hpp"
#include "server/monitor/flight_view.hpp"
#include "server/pipeline/batch.hpp"
#include "server/pipeline/setup.hpp"

namespace turnstone {

/// Tables of a vehicle that the monitor makes: "<vehicle>/estimate/<name>".
[[nodiscard]] std::vector<TableDescription> monitor_tables(const VehicleSetup& vehicle);

class Monitor {
  public:
    /// Both must outlive it.
    Monitor(const PipelineSetup& setup, const Schema& schema);

    /// What was appended to `batch` since `from`; after every call that appends.
    void see(Batch& batch, Marks from);
    /// After the tick of vehicles and links at `t_ns`, which has been seen.
    void tick(std::int64_t t_ns, Batch& out);

  private:
    struct VehicleWatch {
        int vehicle;
        FlightViewer viewer;
    };

    const PipelineSetup* setup_;
    std::vector<VehicleWatch> vehicles_;
    std::vector<Condition> conditions_; ///< of one vehicle at one tick
};

} // namespace turnstone
