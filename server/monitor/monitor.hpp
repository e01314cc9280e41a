#pragma once
/// What the figures of a pipeline mean to people: it follows what the pipeline makes, lets the watches judge it at
/// every tick, and keeps the book of alerts. Pure, as the pipeline is.
///
///     rows, events ─▶ FlightView ─▶ watches ─▶ Condition ─▶ AlertBook ─▶ events
///     alerts that estimators and links raise themselves ───────▲
///     rows, events, what people say ─▶ Desk: checks ─▶ procedures, readiness boards ─▶ rows, events
#include <cstdint>
#include <string>
#include <vector>

#include "server/monitor/alert_book.hpp"
#include "server/monitor/charges/charge_watch.hpp"
#include "server/monitor/condition.hpp"
#include "server/monitor/desk.hpp"
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
/// Those of a vehicle's charges: "<vehicle>/<name>".
[[nodiscard]] std::vector<TableDescription> monitor_charge_tables(const VehicleSetup& vehicle);

class Monitor {
  public:
    /// Both must outlive it. `t_start_ns`: of the recording.
    Monitor(const PipelineSetup& setup, const Schema& schema, std::int64_t t_start_ns);

    /// What was appended to `batch` since `from`; after every call that appends. Alerts among it become those of the
    /// book, which may come later or not at all. `t_ns`: now.
    void see(Batch& batch, Marks from, std::int64_t t_ns);
    /// What follows is of the recording before, or no longer.
    void carries(bool carried) noexcept { desk_.carries(carried); }
    /// After the tick of vehicles and links at `t_ns`, which has been seen.
    void tick(std::int64_t t_ns, Batch& out);

    /// What people do with alerts, procedures, checks and the poll, and what the station says for them.
    template <class What>
    requires requires(AlertBook& book, Desk& desk, const What& what, Batch& out) {
        requires requires {
            book.take(what, std::int64_t{}, out);
        } || requires {
            desk.take(what, std::int64_t{}, out);
        };
    }
    void take(const What& what, std::int64_t t_ns, Batch& out) {
        const Marks from = out.marks();
        if constexpr (requires { book_.take(what, t_ns, out); })
            book_.take(what, t_ns, out);
        else
            desk_.take(what, t_ns, out);
        see_own(out, from, t_ns);
    }
    void take(const CarriedAlert& what, std::int64_t t_ns, Batch& out) {
        const Marks from = out.marks();
        book_.take(what, t_start_ns_, t_ns, out);
        see_own(out, from, t_ns);
    }
    /// Actions that the next recording begins with, so that alerts, procedures and the poll go on.
    void carry(std::int64_t t_ns, std::vector<Action>& out) const;

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
        ChargeWatch charges;
    };
    void take_event(Event event, std::int64_t t_ns, Batch& out);
    /// What was appended to `out` since `from` for something said.
    void see_own(Batch& out, Marks from, std::int64_t t_ns);

    std::int64_t t_start_ns_;
    AlertBook book_;
    Desk desk_;
    std::vector<VehicleWatch> vehicles_;
    std::vector<Event> fresh_;          ///< that are being seen
    std::vector<Condition> conditions_; ///< of one vehicle at one tick
};

} // namespace turnstone
