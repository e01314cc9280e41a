#include "server/pipeline/station/pipeline.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

#include "server/monitor/monitor.hpp"
#include "server/pipeline/events.hpp"
#include "server/pipeline/link/link_track.hpp"
#include "server/pipeline/link/receivers.hpp"
#include "server/pipeline/station/countdown_clock.hpp"
#include "server/pipeline/station/operator_log.hpp"
#include "server/pipeline/station/schema.hpp"
#include "server/pipeline/vehicle/vehicle_track.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

/// System UTC against station time. The difference moves when the system clock is stepped or steered.
struct UtcWatch {
    UtcOffset now{kNaN, 0};

    void chunk(std::int64_t t_rx_ns, std::int64_t utc_rx_ns) noexcept {
        const double offset_s = seconds_between(t_rx_ns, utc_rx_ns);
        if (std::isfinite(now.offset_s)) now.wander_s = std::max(now.wander_s, std::abs(offset_s - now.offset_s));
        now.offset_s = offset_s;
    }
    /// A step is forgotten over about a minute.
    void tick() noexcept { now.wander_s *= 1 - 1.0 / 600; }
};

/// Smallest whole multiple of kTickNs at or after `t_ns`.
std::int64_t tick_from(std::int64_t t_ns) noexcept {
    const std::int64_t floor_ns = t_ns - ((t_ns % kTickNs) + kTickNs) % kTickNs;
    return floor_ns == t_ns ? t_ns : floor_ns + kTickNs;
}

} // namespace

struct Pipeline::State {
    [[nodiscard]] bool is_relayed(std::size_t vehicle) const {
        return std::ranges::any_of(
            setup->links,
            [&](const LinkSetup& link) { return link.vehicle == vehicle && link_delay(link.uri).is_relayed; });
    }
    State(const PipelineSetup& setup_in, std::int64_t t_start_ns_in)
        : setup(&setup_in), t_start_ns(t_start_ns_in), latest_ns(t_start_ns_in), next_tick_ns(tick_from(t_start_ns_in)),
          operator_log(setup_in, t_start_ns_in) {
        std::vector<Router> routers;
        std::vector<estimate::EstimatorChain> chains;
        for (const VehicleSetup& vehicle : setup->vehicles) {
            routers.emplace_back(vehicle.dictionary, vehicle.vehicle, setup->site);
            chains.emplace_back(vehicle.vehicle, setup->site, routers.back().inputs());
        }
        SchemaLayout layout = build_schema(*setup, chains);
        schema = std::move(layout.schema);
        for (std::size_t v = 0; v < chains.size(); ++v)
            vehicles.emplace_back(setup->vehicles[v], setup->site, static_cast<int>(v), schema, layout.vehicles[v],
                                  std::move(routers[v]), std::move(chains[v]), is_relayed(v));
        monitor.emplace(*setup, schema, t_start_ns);
        std::vector<estimate::EstimatorChain*> all_chains;
        for (VehicleTrack& vehicle : vehicles) all_chains.push_back(&vehicle.chain());
        for (VehicleTrack& vehicle : vehicles) vehicle.share_wind(all_chains);
        for (std::size_t k = 0; k < setup->links.size(); ++k)
            links.emplace_back(setup->links[k], static_cast<LinkId>(k), schema, layout.links[k],
                               setup->vehicles[setup->links[k].vehicle].dictionary);
        for (std::size_t v = 0; v < vehicles.size(); ++v) {
            std::vector<CombinedLink> combined;
            for (std::size_t k = 0; k < links.size(); ++k)
                if (const auto& copies = links[k].copies(); copies && setup->links[k].vehicle == v)
                    combined.push_back({static_cast<LinkId>(k), *copies});
            receivers.emplace_back(links.size(), combined);
        }
    }

    /// Fires the ticks due and returns the time to use: never before the latest.
    std::int64_t reach(std::int64_t t_ns, Batch& out) {
        if (!announced) {
            announced = true;
            for (const VehicleTrack& vehicle : vehicles) vehicle.announce(t_start_ns, out);
        }
        latest_ns = std::max(latest_ns, t_ns);
        for (; next_tick_ns <= latest_ns; next_tick_ns += kTickNs) {
            utc.tick();
            const Marks from = out.marks();
            for (VehicleTrack& vehicle : vehicles) vehicle.tick(next_tick_ns, utc.now, t_start_ns, out);
            for (LinkTrack& link : links) link.tick(next_tick_ns, receivers[link.setup().vehicle], out);
            countdown.see(out, from);
            operator_log.see(out, from);
            monitor->see(out, from, next_tick_ns);
            monitor->tick(next_tick_ns, out);
        }
        return latest_ns;
    }

    // Each kind of action, at station time `t_ns`. What is about something this setup does not have is recorded and has
    // no effect.

    void take(std::int64_t t_ns, const Countdown& step, Batch& out) { countdown.take(step, t_ns, out); }
    void take(std::int64_t t_ns, const OperatorChange& change, Batch& out) {
        constexpr EventId kIds[] = {EventId::operator_unlocked, EventId::operator_handed_over, EventId::operator_left};
        out.events.push_back(make_event({.id = kIds[static_cast<std::size_t>(change.step)],
                                         .t_ns = t_ns,
                                         .values = {{"operators", change.operators}}},
                                        t_ns));
    }
    void take(std::int64_t t_ns, const LinkReport& report, Batch& out) {
        const auto link = std::find_if(links.begin(), links.end(),
                                       [&](const LinkTrack& known) { return known.setup().name == report.link; });
        if (link != links.end()) link->report(t_ns, report, out);
    }
    void take(std::int64_t t_ns, const Relayed& times, Batch&) {
        const auto link = std::find_if(links.begin(), links.end(),
                                       [&](const LinkTrack& known) { return known.setup().name == times.link; });
        if (link != links.end()) link->relayed(t_ns, times);
    }
    void take(std::int64_t t_ns, const PublishReport& report, Batch& out) {
        out.events.push_back(make_event({.id = EventId::publishing_trouble,
                                         .t_ns = t_ns,
                                         .values = {{"fault", report.fault}},
                                         .cleared = report.fault.empty()},
                                        t_ns));
    }
    void take(std::int64_t t_ns, const RecorderReport& report, Batch& out) {
        const auto announce = [&](EventId id, bool& raised, bool raise) {
            if (raised == raise) return;
            raised = raise;
            out.events.push_back(
                make_event({.id = id, .t_ns = t_ns, .values = {{"fault", report.fault}}, .cleared = !raise}, t_ns));
        };
        announce(EventId::recording_fault, recording_faulty, !report.fault.empty() && report.stopped);
        announce(EventId::recording_trouble, recording_troubled, !report.fault.empty() && !report.stopped);
    }
    void take(std::int64_t t_ns, const Backlog& backlog, Batch& out) {
        const bool raise = backlog.behind_s > 0;
        if (raise == behind) return;
        behind = raise;
        out.events.push_back(make_event({.id = EventId::estimates_behind,
                                         .t_ns = t_ns,
                                         .values = {{"behind_s", backlog.behind_s}},
                                         .cleared = !raise},
                                        t_ns));
        pause_predictions();
    }
    void take(std::int64_t t_ns, const Resumed& resumed, Batch& out) {
        for (LinkTrack& link : links) link.resumed(resumed.t_last_ns);
        out.events.push_back(make_event({.id = EventId::station_resumed,
                                         .t_ns = t_ns,
                                         .values = {{"down_s", seconds_between(resumed.t_last_ns, t_ns)}}},
                                        t_ns));
    }
    void take(std::int64_t t_ns, const EngineTotal& engine, Batch& out) {
        for (std::size_t v = 0; v < vehicles.size(); ++v) {
            const std::string& name = setup->vehicles[v].dictionary.vehicle;
            if (name != engine.vehicle || !vehicles[v].chain().continue_engine(engine.running_s)) continue;
            out.events.push_back(
                make_event({.id = EventId::engine_total, .t_ns = t_ns, .values = {{"running_s", engine.running_s}}},
                           t_ns, {static_cast<int>(v), name}));
            return;
        }
    }
    void take(std::int64_t, const UnknownAction&, Batch&) {}

    void pause_predictions() {
        for (VehicleTrack& vehicle : vehicles) vehicle.chain().pause_predictions(behind || carried);
    }

    const PipelineSetup* setup;
    std::int64_t t_start_ns;
    std::int64_t latest_ns;
    std::int64_t next_tick_ns;
    std::uint64_t inputs = 0;
    bool announced = false;
    // Alerts that are raised.
    bool recording_faulty = false, recording_troubled = false, behind = false;
    bool carried = false; ///< the last chunk was
    Schema schema;
    std::vector<VehicleTrack> vehicles;
    std::vector<LinkTrack> links;
    std::vector<Receivers> receivers; ///< by vehicle
    UtcWatch utc;
    CountdownClock countdown;
    OperatorLog operator_log;
    std::optional<Monitor> monitor; ///< made once the schema is
};

Pipeline::Pipeline(const PipelineSetup& setup, std::int64_t t_start_ns)
    : state_(std::make_unique<State>(setup, t_start_ns)) {}
Pipeline::~Pipeline() = default;

const Schema& Pipeline::schema() const noexcept {
    return state_->schema;
}

void Pipeline::chunk(LinkId link, std::int64_t t_rx_ns, std::int64_t utc_rx_ns, std::span<const std::byte> bytes,
                     Batch& out, bool carried) {
    State& state = *state_;
    const std::int64_t t_ns = state.reach(t_rx_ns, out);
    LinkTrack& track = state.links.at(link);
    ++state.inputs;
    if (state.carried != carried) {
        state.carried = carried;
        state.monitor->carries(carried);
        state.pause_predictions();
    }
    state.utc.chunk(t_ns, utc_rx_ns);
    const Marks from = out.marks();
    const std::size_t vehicle = track.setup().vehicle;
    track.bytes(t_ns, bytes, state.vehicles[vehicle], state.receivers[vehicle], out);
    state.countdown.see(out, from);
    state.operator_log.see(out, from);
    state.monitor->see(out, from, t_ns);
}

void Pipeline::action(std::int64_t t_in_ns, const Action& action, Batch& out) {
    State& state = *state_;
    const std::int64_t t_ns = state.reach(t_in_ns, out);
    ++state.inputs;
    const Marks from = out.marks();
    const auto take = [&](const auto& what) {
        if constexpr (requires { state.monitor->take(what, t_ns, out); }) {
            state.monitor->take(what, t_ns, out);
        } else {
            if constexpr (requires { state.operator_log.take(what, t_ns, out); })
                state.operator_log.take(what, t_ns, out);
            else
                state.take(t_ns, what, out);
            state.monitor->see(out, from, t_ns);
        }
    };
    std::visit(take, action);
}

void Pipeline::advance(std::int64_t t_ns, Batch& out) {
    state_->reach(t_ns, out);
}

void Pipeline::set_prediction_period(double period_s) {
    for (VehicleTrack& vehicle : state_->vehicles) vehicle.chain().set_prediction_period(period_s);
}

void Pipeline::take(const Inputs& inputs, Batch& out) {
    for_each_input(
        inputs,
        [&](const ChunkRecord& each, std::span<const std::byte> bytes) {
            chunk(each.link, each.t_rx_ns, each.utc_rx_ns, bytes, out, each.carried);
        },
        [&](const ActionRecord& each) { action(each.t_ns, each.action, out); });
}

void Pipeline::fly_one_prediction_in(std::uint64_t rounds) {
    for (VehicleTrack& vehicle : state_->vehicles) vehicle.chain().fly_one_prediction_in(rounds);
}

void Pipeline::leave_steps(std::size_t vehicle, estimate::StepsLeft* steps) {
    state_->vehicles.at(vehicle).chain().leave_steps(steps);
}

void Pipeline::leave_last_steps(std::size_t vehicle) {
    state_->vehicles.at(vehicle).chain().leave_last_steps();
}

bool Pipeline::work_ahead() {
    for (VehicleTrack& vehicle : state_->vehicles)
        if (vehicle.chain().fly_due()) return true;
    return false;
}

bool Pipeline::has_work_ahead() const noexcept {
    return std::ranges::any_of(
        state_->vehicles, [](VehicleTrack& vehicle) { return vehicle.chain().predicting(); });
}

bool Pipeline::work_piles_up() const noexcept {
    return std::ranges::any_of(
        state_->vehicles, [](VehicleTrack& vehicle) { return vehicle.chain().predictions_lag(); });
}

void Pipeline::recall(const Event& event) {
    state_->monitor->recall(event);
    const bool about_landing =
        event.id == EventId::landing_outside_boundary || event.id == EventId::landing_case_outside;
    if (!about_landing || event.vehicle < 0) return;
    std::string of_case;
    for (const EventValue& value : event.values)
        if (value.name == "case" && std::holds_alternative<std::string>(value.value))
            of_case = std::get<std::string>(value.value);
    const auto vehicle = static_cast<std::size_t>(event.vehicle);
    if (vehicle < state_->vehicles.size())
        state_->vehicles[vehicle].chain().recall_outside(of_case, event.kind != EventKind::alert_cleared);
}

std::int64_t Pipeline::needs_inputs_since_ns() const {
    constexpr std::int64_t kAtRestNs = 30 * kNsPerS;
    std::int64_t since_ns = state_->latest_ns;
    for (const VehicleTrack& vehicle : state_->vehicles)
        if (const auto away_ns = vehicle.chain().away_since_ns()) since_ns = std::min(since_ns, *away_ns);
    return since_ns - kAtRestNs;
}

Progress Pipeline::progress() const noexcept {
    return {state_->inputs, state_->latest_ns};
}

std::vector<Action> Pipeline::carried_actions() const {
    std::vector<Action> actions;
    for (std::size_t v = 0; v < state_->vehicles.size(); ++v)
        if (const auto running_s = state_->vehicles[v].chain().engine_running_s())
            actions.push_back(EngineTotal{state_->setup->vehicles[v].dictionary.vehicle, *running_s});
    if (const auto countdown = state_->countdown.carried()) actions.emplace_back(*countdown);
    state_->operator_log.carry(actions);
    state_->monitor->carry(state_->latest_ns, actions);
    return actions;
}

} // namespace turnstone
