#include "server/monitor/monitor.hpp"

#include <algorithm>
#include <iterator>
#include <utility>

namespace turnstone {

namespace {

/// Of packets: then single sensors and channels go missing by chance. Common practice, no source.
constexpr double kManyLost = 0.2;
constexpr double kMostLost = 0.5; ///< of the newest; a weak radio loses more than the other in any two seconds

std::vector<std::string> names_of(const PipelineSetup& setup) {
    std::vector<std::string> names;
    for (const VehicleSetup& vehicle : setup.vehicles) names.push_back(vehicle.dictionary.vehicle);
    return names;
}

std::vector<std::string> links_of(const PipelineSetup& setup, std::size_t vehicle) {
    std::vector<std::string> names;
    for (const LinkSetup& link : setup.links)
        if (link.vehicle == vehicle) names.push_back(link.name);
    return names;
}

bool is_of_alert(const Event& event) {
    return event.kind == EventKind::alert_raised || event.kind == EventKind::alert_cleared;
}

} // namespace

std::vector<TableDescription> monitor_tables(const VehicleSetup& vehicle) {
    return FlightTables::of(vehicle);
}

std::vector<TableDescription> monitor_charge_tables(const VehicleSetup& vehicle) {
    return ChargeWatch::tables(vehicle);
}

Monitor::Monitor(const PipelineSetup& setup, const Schema& schema, std::int64_t t_start_ns)
    : t_start_ns_(t_start_ns), book_(names_of(setup)), desk_(setup, schema, t_start_ns) {
    for (std::size_t v = 0; v < setup.vehicles.size(); ++v) {
        const int vehicle = static_cast<int>(v);
        vehicles_.push_back({.vehicle = {vehicle, setup.vehicles[v].dictionary.vehicle},
                             .links = links_of(setup, v),
                             .viewer = FlightViewer(schema, vehicle),
                             .deployment = DeploymentWatch(setup.vehicles[v].vehicle, setup.site),
                             .flight = {},
                             .loss = LossWatch(setup, schema, v),
                             .limits = LimitWatch(setup.vehicles[v].dictionary, schema),
                             .tables = FlightTables(setup, schema, v),
                             .charges = ChargeWatch(setup, schema, v)});
    }
}

void Monitor::see(Batch& batch, Marks from, std::int64_t t_ns) {
    const auto first = batch.events.begin() + static_cast<std::ptrdiff_t>(from.events);
    const bool any = std::any_of(first, batch.events.end(),
                                 [](const Event& event) { return is_of_alert(event) || event.id == EventId::reboot; });
    if (any) {
        fresh_.assign(std::make_move_iterator(first), std::make_move_iterator(batch.events.end()));
        batch.events.erase(first, batch.events.end());
        for (Event& event : fresh_) take_event(std::move(event), t_ns, batch);
    }
    for (VehicleWatch& each : vehicles_) {
        each.viewer.see(batch, from);
        each.loss.see(batch, from);
        each.limits.see(batch, from);
        each.charges.see(batch, from);
    }
    desk_.see(batch, from, t_ns);
}

void Monitor::see_own(Batch& out, Marks from, std::int64_t t_ns) {
    for (VehicleWatch& each : vehicles_) each.charges.see(out, from);
    desk_.see(out, from, t_ns);
}

void Monitor::take_event(Event event, std::int64_t t_ns, Batch& out) {
    if (is_of_alert(event)) {
        book_.take(std::move(event), t_ns, out);
        return;
    }
    const bool rebooted = event.id == EventId::reboot && event.vehicle >= 0;
    const std::int64_t t_boot_ns = event.t_ns;
    const EventVehicle vehicle =
        rebooted ? vehicles_.at(static_cast<std::size_t>(event.vehicle)).vehicle : EventVehicle{};
    out.events.push_back(std::move(event));
    if (!rebooted) return;
    for (const bool cleared : {false, true}) // over as soon as it is raised, but for the acknowledgement
        book_.take(make_event({.id = EventId::rebooted, .t_ns = t_boot_ns, .cleared = cleared}, t_ns, vehicle), t_ns,
                   out);
}

void Monitor::tick(std::int64_t t_ns, Batch& out) {
    const Marks from = out.marks();
    for (VehicleWatch& each : vehicles_) {
        const FlightView& view = each.viewer.at(t_ns);
        book_.phase(each.vehicle.index, view.phase);
        book_.lossy(each.vehicle.index, view.loss > kManyLost || each.loss.lately() > kMostLost);
        conditions_.clear();
        each.deployment.judge(view, conditions_);
        each.flight.judge(view, conditions_);
        each.loss.judge(conditions_);
        each.limits.judge(t_ns, conditions_);
        book_.judge(each.vehicle, conditions_, t_ns, out);
    }
    book_.tick(t_ns, out);
    for (VehicleWatch& each : vehicles_) {
        each.charges.tick(t_ns, out);
        each.tables.write(each.viewer.at(t_ns), each.deployment, book_.leading(each.vehicle.index, each.links, t_ns),
                          out);
    }
    desk_.see(out, from, t_ns);
    desk_.tick(t_ns, out);
}

void Monitor::carry(std::int64_t t_ns, std::vector<Action>& out) const {
    for (CarriedAlert& alert : book_.carried(t_ns)) out.emplace_back(std::move(alert));
    desk_.carry(out);
}

void Monitor::recall(const Event& event) {
    if (event.id == EventId::sentence) {
        if (event.vehicle >= 0 && static_cast<std::size_t>(event.vehicle) < vehicles_.size())
            vehicles_[static_cast<std::size_t>(event.vehicle)].tables.recall(event);
    } else if (follows_from_predictions(event)) {
        if (event.kind == EventKind::procedure || event.kind == EventKind::readiness)
            desk_.recall(event);
        else
            book_.recall(event);
    }
}

} // namespace turnstone
