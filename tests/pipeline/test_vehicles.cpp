// What crosses from one recording to the next (an engine's running time) and from one vehicle to another (a weather
// station's wind): recorded inputs decide both, so that replay gives the same bits.
#include <catch2/catch.hpp>

#include <bit>
#include <cmath>

#include "server/estimate/air/wind_profile.hpp"
#include "tests/pipeline/station.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

VehicleSetup vehicle_of(const std::string& dictionary_json, const std::string& vehicle_json) {
    std::vector<Problem> problems;
    VehicleSetup vehicle;
    vehicle.dictionary_json = dictionary_json;
    vehicle.vehicle_json = vehicle_json;
    vehicle.dictionary =
        read_dictionary(*parse_json_text(dictionary_json, "dictionary.json", problems), "dictionary.json", problems);
    vehicle.vehicle = read_vehicle(*parse_json_text(vehicle_json, "vehicle.json", problems), "vehicle.json", problems);
    INFO(to_string(problems));
    REQUIRE(problems.empty());
    return vehicle;
}

std::string field(const std::string& name, const std::string& unit) {
    return R"({"name": ")" + name + R"(", "type": "f32", "unit": ")" + unit + R"(", "description": "Test", "role": ")" +
           name + R"("})";
}

std::string dictionary_of(const std::string& vehicle, const std::string& packets) {
    return R"({"vehicle": ")" + vehicle + R"(", "title": "Test )" + vehicle +
           R"(", "version": "1", "byte_order": "big", "time": {"format": "u32_ms"}, "packets": [)" + packets + "]}";
}

/// An engine whose gauges come in a packet of their own.
VehicleSetup boat() {
    return vehicle_of(
        dictionary_of(
            "boat",
            R"({"apid": 200, "name": "engine", "description": "Engine", "period_ms": 200, "fields": [)" +
                field("engine_speed", "{rev}/min") +
                R"(]}, {"apid": 201, "name": "gauges", "description": "Gauges", "period_ms": 1000, "fields": [)" +
                field("engine_temperature", "K") + "," + field("oil_pressure", "Pa") + "]}"),
        R"({"name": "boat", "engine_running_threshold_rpm": 500})");
}

VehicleSetup mast() {
    return vehicle_of(
        dictionary_of("mast", R"({"apid": 300, "name": "wind", "description": "Wind", "period_ms": 2000, "fields": [)" +
                                  field("wind_speed", "m/s") + "," + field("wind_from", "deg") + "]}"),
        R"({"name": "mast"})");
}

/// The demo rocket at a site without a forecast.
VehicleSetup rocket() {
    return vehicle_of(read_file(demo_path("sanderling/dictionary.json")),
                      read_file(demo_path("sanderling/vehicle.json")));
}

template <class... Vehicles>
PipelineSetup setup_of(Vehicles... vehicles) {
    PipelineSetup setup;
    (setup.vehicles.push_back(std::move(vehicles)), ...);
    setup.site.name = "Test";
    setup.site.pad = setup.site.station = {40, -118, 1200};
    for (std::size_t v = 0; v < setup.vehicles.size(); ++v)
        setup.links.push_back({"link" + std::to_string(v), "test:", v});
    return setup;
}

Bytes floats(std::initializer_list<float> values) {
    Bytes out;
    for (const float value : values) put(out, std::bit_cast<std::uint32_t>(value), 4);
    return out;
}

/// A pipeline, what it was fed and what it made.
struct Session {
    Pipeline pipeline;
    InputCounter counter;
    Inputs inputs = {};
    Batch out = {};
    Session(const PipelineSetup& setup, std::int64_t t_start_ns)
        : pipeline(setup, t_start_ns), counter(setup.links.size(), t_start_ns) {}
    void chunk(LinkId link, std::int64_t t_ns, const Bytes& bytes) {
        counter.chunk(link, t_ns, t_ns, bytes, inputs);
        pipeline.chunk(link, t_ns, t_ns, bytes, out);
    }
    void action(std::int64_t t_ns, const Action& action) {
        counter.action(t_ns, action, inputs);
        pipeline.action(t_ns, action, out);
    }
};

/// Engine speed every 200 ms and gauges every second, from `from_s` to `to_s` after kStart_ns.
struct Engine {
    unsigned speeds = 0, gauges = 0;
    void run(Session& session, LinkId link, double from_s, double to_s, float rpm) {
        for (std::int64_t ms = std::llround(from_s * 1e3); ms < std::llround(to_s * 1e3); ms += 200) {
            const std::int64_t t_ns = kStart_ns + ms * kNsPerMs + 30 * kNsPerMs;
            const auto onboard_ms = static_cast<std::uint32_t>(ms + 7000);
            session.chunk(link, t_ns, frame(200, speeds++, onboard_ms, floats({rpm})));
            if (ms % 1000 == 0)
                session.chunk(
                    link, t_ns,
                    frame(201, gauges++, onboard_ms, floats({300.0F + 0.05F * static_cast<float>(ms) / 1000, 4e5F})));
        }
    }
};

/// On the pad a prediction every 62 s, twenty of these: often enough to see the wind, and soon flown.
constexpr double kSeldom_s = 3.1;

/// What a new pipeline makes of them.
Batch replayed(const PipelineSetup& setup, const Inputs& inputs, std::int64_t t_start_ns, std::int64_t t_end_ns) {
    Pipeline pipeline(setup, t_start_ns);
    pipeline.set_prediction_period(kSeldom_s);
    Batch out;
    pipeline.take(inputs, out);
    pipeline.advance(t_end_ns, out);
    return out;
}

} // namespace

TEST_CASE("engine hours continue across a new recording, from an action that is recorded with the rest") {
    const PipelineSetup setup = setup_of(boat());
    Engine engine;
    Session before(setup, kStart_ns);
    engine.run(before, 0, 0, 100, 1500);
    const Schema& schema = before.pipeline.schema();
    CHECK(newest(before.out, schema, "boat/estimate/engine", "running") == 1);
    CHECK(newest(before.out, schema, "boat/estimate/engine", "running_time_h") * 3600 == Approx(99).margin(1.01));

    const std::int64_t begins_ns = kStart_ns + 100 * kNsPerS;
    Session after(setup, begins_ns);
    const std::vector<Action> carried = before.pipeline.carried_actions();
    REQUIRE(carried.size() == 1);
    after.action(begins_ns, carried[0]);
    engine.run(after, 0, 100, 150, 1500);
    engine.run(after, 0, 150, 200, 0);
    after.pipeline.advance(kStart_ns + 201 * kNsPerS, after.out);
    const Batch& second = after.out;
    // 150 s of a running engine; one interval of 0.2 s goes at each end and where the new recording begins.
    CHECK(newest(second, schema, "boat/estimate/engine", "running_time_h") * 3600 == Approx(150 - 0.4).margin(0.21));
    CHECK(newest(second, schema, "boat/estimate/engine", "running") == 0);
    // Gauges from their own packet: 0.05 K/s by construction, in steps of a single-precision number.
    CHECK(newest(second, schema, "boat/estimate/engine", "temperature_rate_k_per_s") == Approx(0.05).epsilon(1e-3));
    CHECK(newest(second, schema, "boat/estimate/engine", "oil_pressure_rate_pa_per_s") == Approx(0).margin(1e-9));
    const auto told = std::find_if(second.events.begin(), second.events.end(),
                                   [](const Event& event) { return event.key == "boat/engine/total"; });
    REQUIRE(told != second.events.end());
    CHECK(told->text == "Engine hours continue from 0.03 h");

    CHECK(second == replayed(setup, after.inputs, begins_ns, kStart_ns + 201 * kNsPerS));
    // Without the action the same bytes count from zero: the action is what the total rests on.
    Inputs without = after.inputs;
    without.actions.clear();
    CHECK_FALSE(second.numbers == replayed(setup, without, begins_ns, kStart_ns + 201 * kNsPerS).numbers);
}

TEST_CASE("an engine's total survives its own text to the last bit, and a total for nobody changes none") {
    const PipelineSetup setup = setup_of(boat(), mast());
    for (const double running_s : {0.0, 0.1, 1234567.890123456, 1e9 / 3}) {
        Pipeline pipeline(setup, kStart_ns);
        Batch out;
        pipeline.action(kStart_ns, action_from_json(to_json(EngineTotal{"boat", running_s})), out);
        CHECK(pipeline.carried_actions() == std::vector<Action>{EngineTotal{"boat", running_s}}); // the mast has none
    }
    for (const EngineTotal& total : {EngineTotal{"mast", 5}, EngineTotal{"nobody", 5}, EngineTotal{"boat", -1}}) {
        INFO(to_json(total));
        Pipeline pipeline(setup, kStart_ns);
        Batch out;
        pipeline.action(kStart_ns, total, out);
        for (const Event& event : out.events) CHECK(event.kind != EventKind::note);
        CHECK(pipeline.carried_actions() == std::vector<Action>{EngineTotal{"boat", 0}});
    }
}

TEST_CASE("a weather station's wind is in the rocket's predictions, whichever of the two stands first") {
#ifdef TURNSTONE_INSTRUMENTED // a minute each
    const std::vector<bool> orders{true};
#else
    const std::vector<bool> orders{true, false};
#endif
    for (const bool station_first : orders) {
        const PipelineSetup setup = station_first ? setup_of(mast(), rocket()) : setup_of(rocket(), mast());
        const LinkId link = station_first ? 0 : 1;
        const std::int64_t end_ns = kStart_ns + 75 * kNsPerS;
        for (const bool windy : {true, false}) {
            Session session(setup, kStart_ns);
            Pipeline& pipeline = session.pipeline;
            pipeline.set_prediction_period(kSeldom_s);
            Batch& live = session.out;
            for (unsigned k = 0; windy && k < 35; ++k) {
                const std::int64_t t_ns = kStart_ns + 2 * k * kNsPerS + 40 * kNsPerMs;
                // 6 m/s from the west-south-west, with gusts that even out.
                const float speed_mps = k % 2 == 0 ? 5.0F : 7.0F;
                session.chunk(link, t_ns, frame(300, k, 3000 + 2000 * k, floats({speed_mps, 250.0F})));
            }
            pipeline.advance(end_ns, live);
            const double wind_mps = newest(live, pipeline.schema(), "sanderling/estimate/landing", "wind_0m_mps");
            const double sigma_mps =
                newest(live, pipeline.schema(), "sanderling/estimate/landing", "wind_0m_mps_sigma");
            if (!windy) {
                CHECK(wind_mps == 0);
                CHECK(sigma_mps > 3);
                continue;
            }
            // The mean of a minute, drawn a little to the calm that was assumed before it: 5^2 / (5^2 + 1) of it.
            CHECK(wind_mps == Approx(6 * 25.0 / 26).epsilon(0.02));
            // What is left of the doubt, and the gusts of such a wind 10 ft up (MIL-F-8785C, from memory), stronger on
            // some days.
            const double gusts_mps = estimate::WindProfile::kGustiness * 0.1 * wind_mps / std::pow(0.18523, 0.4);
            CHECK(sigma_mps == Approx(std::hypot(std::sqrt(25.0 / 26), gusts_mps)).epsilon(0.01));
            CHECK(newest(live, pipeline.schema(), "sanderling/estimate/landing", "wind_0m_from_deg") ==
                  Approx(250).margin(0.1));
            CHECK(live == replayed(setup, session.inputs, kStart_ns, end_ns));
        }
    }
}
