#include "server/pipeline/pipeline.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <optional>

#include <nlohmann/json.hpp>

#include "protocol/dictionary/utf8.hpp"
#include "server/pipeline/link/link_track.hpp"
#include "server/pipeline/schema.hpp"
#include "server/pipeline/vehicle/vehicle_track.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

/// System UTC against station time. The difference moves when the system clock is stepped or steered.
struct UtcWatch {
    double offset_s = kNaN;
    double wander_s = 0; ///< greatest recent step, forgotten over about a minute

    void chunk(std::int64_t t_rx_ns, std::int64_t utc_rx_ns) noexcept {
        const double now_s = seconds_between(t_rx_ns, utc_rx_ns);
        if (std::isfinite(offset_s)) wander_s = std::max(wander_s, std::abs(now_s - offset_s));
        offset_s = now_s;
    }
    void tick() noexcept { wander_s *= 1 - 1.0 / 600; }
};

/// Smallest whole multiple of kTickNs at or after `t_ns`.
std::int64_t tick_from(std::int64_t t_ns) noexcept {
    const std::int64_t floor_ns = t_ns - ((t_ns % kTickNs) + kTickNs) % kTickNs;
    return floor_ns == t_ns ? t_ns : floor_ns + kTickNs;
}

std::string text_member(const nlohmann::json& object, const char* key) {
    const auto found = object.find(key);
    return found != object.end() && found->is_string() ? found->get<std::string>() : std::string();
}

/// Times stand as decimal strings in JSON (they pass 2^53); a number is understood too.
std::optional<std::int64_t> time_member(const nlohmann::json& object, const char* key) {
    const auto found = object.find(key);
    if (found == object.end()) return std::nullopt;
    if (found->is_number_integer()) return found->get<std::int64_t>();
    if (!found->is_string()) return std::nullopt;
    const nlohmann::json number = nlohmann::json::parse(found->get_ref<const std::string&>(), nullptr, false);
    return number.is_number_integer() ? std::optional(number.get<std::int64_t>()) : std::nullopt;
}

/// Events go into JSON and onto screens: whatever was handed in, they are valid UTF-8.
std::string valid_text(const std::string& text) {
    std::string out(text.size() * 3, '\0');
    out.resize(to_valid_utf8(std::as_bytes(std::span(text)), out.data()));
    return out;
}

} // namespace

struct Pipeline::State {
    State(const PipelineSetup& setup_in, std::int64_t t_start_ns_in)
        : setup(&setup_in), t_start_ns(t_start_ns_in), latest_ns(t_start_ns_in),
          next_tick_ns(tick_from(t_start_ns_in)) {
        std::vector<Router> routers;
        std::vector<EstimatorChain> chains;
        for (const VehicleSetup& vehicle : setup->vehicles) {
            routers.emplace_back(vehicle.dictionary, setup->site);
            chains.emplace_back(vehicle.vehicle, setup->site, routers.back().inputs());
        }
        SchemaLayout layout = build_schema(*setup, chains);
        schema = std::move(layout.schema);
        for (std::size_t v = 0; v < chains.size(); ++v)
            vehicles.emplace_back(setup->vehicles[v], static_cast<int>(v), layout.vehicles[v], std::move(routers[v]),
                                  std::move(chains[v]));
        std::vector<EstimatorChain*> all_chains;
        for (VehicleTrack& vehicle : vehicles) all_chains.push_back(&vehicle.chain());
        for (VehicleTrack& vehicle : vehicles) vehicle.share_wind(all_chains);
        for (std::size_t k = 0; k < setup->links.size(); ++k)
            links.emplace_back(setup->links[k], static_cast<LinkId>(k), layout.links[k],
                               setup->vehicles[setup->links[k].vehicle].dictionary);
    }

    /// Fires the ticks due and returns the time that counts: never before the latest.
    std::int64_t reach(std::int64_t t_ns, Batch& out) {
        if (!announced) {
            announced = true;
            for (const VehicleTrack& vehicle : vehicles) vehicle.announce(t_start_ns, out);
        }
        latest_ns = std::max(latest_ns, t_ns);
        for (; next_tick_ns <= latest_ns; next_tick_ns += kTickNs) {
            utc.tick();
            for (VehicleTrack& vehicle : vehicles)
                vehicle.tick(next_tick_ns, utc.offset_s, utc.wander_s, t_start_ns, out);
            for (LinkTrack& link : links) link.tick(next_tick_ns, out);
        }
        return latest_ns;
    }

    void link_state(std::int64_t t_ns, const nlohmann::json& action, const std::string& json, Batch& out) {
        const std::string name = text_member(action, "link");
        const auto link = std::find_if(links.begin(), links.end(),
                                       [&](const LinkTrack& known) { return known.setup().name == name; });
        if (link == links.end() || !link->state(t_ns, text_member(action, "state"), text_member(action, "detail"), out))
            note(t_ns, t_ns, json, out);
    }

    /// The ingest thread's word on the recorder: `fault` empty when recording works again.
    void recording_state(std::int64_t t_ns, const std::string& fault, Batch& out) {
        if (fault.empty() == !recording_faulty) return;
        recording_faulty = !fault.empty();
        out.events.push_back({t_ns, t_ns, 0, recording_faulty ? EventKind::alert_raised : EventKind::alert_cleared,
                              Level::caution, -1, "recording/fault",
                              recording_faulty ? "Recording is in trouble: " + fault : "Recording works again.", "{}"});
    }

    /// What recordings before this one counted.
    void engine_total(std::int64_t t_ns, const nlohmann::json& action, const std::string& json, Batch& out) {
        const std::string name = text_member(action, "vehicle");
        const auto running = action.find("running_s");
        for (std::size_t v = 0; v < vehicles.size() && running != action.end() && running->is_number(); ++v) {
            const Dictionary& dictionary = setup->vehicles[v].dictionary;
            const double running_s = running->get<double>();
            if (dictionary.vehicle != name || !vehicles[v].chain().continue_engine(running_s)) continue;
            std::array<char, 64> hours{};
            std::snprintf(hours.data(), hours.size(), "%.2f h", running_s / 3600);
            out.events.push_back(
                {t_ns, t_ns, 0, EventKind::recording, Level::note, static_cast<int>(v), name + "/engine/total",
                 "The running time of the engine of " + dictionary.title + " goes on from " + hours.data() + ".",
                 "{}"});
            return;
        }
        note(t_ns, t_ns, json, out);
    }

    static void note(std::int64_t at_ns, std::int64_t t_ns, const std::string& text, Batch& out) {
        out.events.push_back({at_ns, t_ns, 0, EventKind::note, Level::note, -1, "note", valid_text(text), "{}"});
    }

    const PipelineSetup* setup;
    std::int64_t t_start_ns;
    std::int64_t latest_ns;
    std::int64_t next_tick_ns;
    std::uint64_t inputs = 0;
    bool announced = false;
    bool recording_faulty = false;
    Schema schema;
    std::vector<VehicleTrack> vehicles;
    std::vector<LinkTrack> links;
    UtcWatch utc;
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
    out.chunks.push_back({state.inputs++,
                          link,
                          t_ns,
                          utc_rx_ns,
                          track.bytes_in(),
                          carried,
                          {static_cast<std::uint32_t>(out.bytes.size()), static_cast<std::uint32_t>(bytes.size())}});
    out.bytes.insert(out.bytes.end(), bytes.begin(), bytes.end());
    state.utc.chunk(t_ns, utc_rx_ns);
    track.bytes(t_ns, bytes, state.vehicles[track.setup().vehicle], out);
}

void Pipeline::action(std::int64_t t_in_ns, const std::string& json, Batch& out) {
    State& state = *state_;
    const std::int64_t t_ns = state.reach(t_in_ns, out);
    out.actions.push_back({state.inputs++, t_ns, json});
    const nlohmann::json action = nlohmann::json::parse(json, nullptr, false);
    const std::string kind = action.is_object() ? text_member(action, "action") : std::string();
    const std::string text = action.is_object() ? text_member(action, "text") : std::string();
    if (kind == "link_state") {
        state.link_state(t_ns, action, json, out);
        return;
    }
    if (kind == "recording_state") {
        state.recording_state(t_ns, text_member(action, "fault"), out);
        return;
    }
    if (kind == "engine_total") {
        state.engine_total(t_ns, action, json, out);
        return;
    }
    if ((kind != "marker" && kind != "note") || text.empty()) {
        State::note(t_ns, t_ns, json, out);
        return;
    }
    // Either may be set on the tape behind the head, never before its start or ahead of it.
    const std::int64_t at_ns = std::clamp(time_member(action, "t_ns").value_or(t_ns), state.t_start_ns, t_ns);
    if (kind == "note")
        State::note(at_ns, t_ns, text, out);
    else
        out.events.push_back({at_ns, t_ns, 0, EventKind::marker, Level::note, -1, "marker", text, "{}"});
}

void Pipeline::advance(std::int64_t t_ns, Batch& out) {
    state_->reach(t_ns, out);
}

void Pipeline::set_prediction_period(double period_s) {
    for (VehicleTrack& vehicle : state_->vehicles) vehicle.set_prediction_period(period_s);
}

std::span<const std::byte> Pipeline::pending(LinkId link) const {
    return state_->links.at(link).pending();
}

std::vector<std::string> Pipeline::carried_actions() const {
    std::vector<std::string> actions;
    for (std::size_t v = 0; v < state_->vehicles.size(); ++v)
        if (const auto running_s = state_->vehicles[v].chain().engine_running_s())
            actions.push_back(engine_total_action(state_->setup->vehicles[v].dictionary.vehicle, *running_s));
    return actions;
}

std::string engine_total_action(const std::string& vehicle, double running_s) {
    return nlohmann::json({{"action", "engine_total"}, {"vehicle", vehicle}, {"running_s", running_s}}).dump();
}

} // namespace turnstone
