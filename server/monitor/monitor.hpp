#pragma once
/// What the figures of a pipeline mean to people: it follows what the pipeline makes, lets the watches judge it at
/// every tick, and keeps the book of alerts. Pure, as the pipeline is.
///
///     rows, events ─▶ FlightView ─▶ watches ─▶ Condition ─▶ AlertBook ─▶ events
///     alerts that estimators and links raise themselves ───────▲
#include <cstdint>
#include <string>
#include <vector>

#include "server/monitor/alert_book.hpp"
#include "server/monitor/condition.hpp"
#include "server/monitor/flight/deployment_watch.hpp"
#include "server/monitor/flight/flight_tables.hpp"
#include "server/monitor/flight/flight_view.hpp"
#include "server/monitor/flight/flight_watches.hpp"
#include "server/monitor/limits.hpp"
#include "server/monitor/loss_watch.hpp"
#include "server/pipeline/batch.hpp"
#include "server/pipeline/setup.hpp"

namespace turnstone {

/// Tables of a vehicle that the monitor makes: "<vehicle>/estimate/<name>".
[[nodiscard]] std::vector<TableDescription> monitor_tables(const VehicleSetup& vehicle);

class Monitor {
  public:
    /// Both must outlive it. `t_start_ns`: of the recording.
    Monitor(const PipelineSetup& setup, const Schema& schema, std::int64_t t_start_ns);

    /// What was appended to `batch` since `from`; after every call that appends. Alerts among it become those of the
    /// book, which may come later or not at all. `t_ns`: now.
    void see(Batch& batch, Marks from, std::int64_t t_ns);
    /// After the tick of vehicles and links at `t_ns`, which has been seen.
    void tick(std::int64_t t_ns, Batch& out);

    void take(const Acknowledge& what, std::int64_t t_ns, Batch& out) { book_.take(what, t_ns, out); }
    void take(const Shelve& what, std::int64_t t_ns, Batch& out) { book_.take(what, t_ns, out); }
    void take(const Unshelve& what, std::int64_t t_ns, Batch& out) { book_.take(what, t_ns, out); }
    void take(const CarriedAlert& what, std::int64_t t_ns, Batch& out) { book_.take(what, t_start_ns_, t_ns, out); }
    [[nodiscard]] std::vector<CarriedAlert> carried_alerts(std::int64_t t_ns) const { return book_.carried(t_ns); }

    /// A stored event, in the order they were found, that passed-over predictions would have led to.
    void recall(const Event& event);

  private:
    struct VehicleWatch {
        EventVehicle vehicle;
        std::vector<std::string> links; ///< that carry it
        FlightViewer viewer;
        DeploymentWatch deployment;
        FlightWatches flight;
        LossWatch loss;
        LimitWatch limits;
        FlightTables tables;
    };
    void take_event(Event event, std::int64_t t_ns, Batch& out);

    std::int64_t t_start_ns_;
    AlertBook book_;
    std::vector<VehicleWatch> vehicles_;
    std::vector<Event> fresh_;          ///< that are being seen
    std::vector<Condition> conditions_; ///< of one vehicle at one tick
};

} // namespace turnstone
