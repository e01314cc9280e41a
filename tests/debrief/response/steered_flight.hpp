#pragma once
/// Flights of the demo's airframe with fins that steer, from the simulator's bytes through the pipeline to a recording,
/// until shortly after apogee.
#include <cmath>
#include <memory>
#include <numbers>
#include <string>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "server/debrief/recordings.hpp"
#include "server/pipeline/station/pipeline.hpp"
#include "server/pipeline/vehicle_texts.hpp"
#include "server/record/write/recorder.hpp"
#include "shared/constants.hpp"
#include "shared/time.hpp"
#include "tests/support/recorder_settings.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"
#include "tools/sim/fly.hpp"

namespace turnstone::response_test {

inline constexpr std::int64_t kPad_ns = 1'790'000'000 * kNsPerS;

inline sim::Scenario steered_scenario(const std::string& errors) {
    auto made = sim::make_scenario("nominal", test::demo_path("dunlin"), test::demo_path("site.json"));
    REQUIRE(made);
    made->errors = *sim::error_set_from_name(errors);
    made->disperse = true;
    made->after_touchdown_s = 0;
    made->telemetry.fins_hz = sim::kFinsRate_hz;
    made->steering = sim::logging_flight(made->vehicle.rocket->burn_time_s());
    return *made;
}

struct SteeredFlight {
    sim::FlightSetup setup; ///< the truth
    sim::Truth truth;
    debrief::Recordings recordings;
    std::string id;
};

/// Into `folder`, which should be empty.
inline SteeredFlight
record_steered(const test::TemporaryFolder& folder, const sim::Scenario& scenario, std::uint64_t seed,
               const std::string& vehicle_json = test::read_file(test::demo_path("dunlin/vehicle.json"))) {
    SteeredFlight out{sim::make_setup(scenario, seed), {}, {folder.path()}, {}};
    sim::FlightResult flight = sim::fly(scenario, seed);
    std::vector<Problem> problems;
    auto vehicle = read_vehicle_texts(test::read_file(test::demo_path("dunlin/dictionary.json")), vehicle_json,
                                      "dunlin", problems);
    INFO(to_string(problems));
    REQUIRE(vehicle);
    PipelineSetup setup;
    setup.vehicles.push_back(std::move(*vehicle));
    setup.site_json = test::read_file(test::demo_path("site.json"));
    setup.site = scenario.site;
    setup.links.push_back({"radio", "serial:/dev/ttyUSB0", 0});
    {
        Pipeline pipeline(setup, kPad_ns);
        pipeline.set_prediction_period(kInfinity);
        InputCounter counter(1, kPad_ns);
        RecorderSettings settings = test::recorder_settings(folder.path());
        settings.sync_every_commit = false;
        Recorder recorder(settings, setup);
        const std::string recording = recorder.begin(
            pipeline.schema(), {.t_start_ns = kPad_ns, .utc_start_ns = kPad_ns, .name = "steered", .continues = ""},
            kPad_ns);
        out.id = recording + "~" + scenario.vehicle.name + "~1";
        const double until_s = flight.truth.events.apogee_s + 6;
        for (const sim::Delivery& delivery : flight.received.deliveries) {
            if (delivery.t_end_s > until_s) break;
            auto inputs = std::make_shared<Inputs>();
            auto batch = std::make_shared<Batch>();
            const std::int64_t t_ns = kPad_ns + seconds_to_ns(delivery.t_end_s);
            counter.chunk(0, t_ns, t_ns,
                          std::as_bytes(std::span(flight.received.bytes).subspan(delivery.offset, delivery.size)),
                          *inputs);
            pipeline.take(*inputs, *batch);
            pipeline.advance(t_ns, *batch);
            recorder.push(inputs);
            recorder.push(batch, pipeline.progress());
        }
    }
    out.truth = std::move(flight.truth);
    return out;
}

/// What the simulator's airframe amounts to at a reference that the answer names.
struct TrueDynamics {
    double lp_per_s, ld_per_s2, natural_hz, damping, fin_effect_per_s2;

    TrueDynamics(const SteeredFlight& flight, double q_pa, double speed_mps) {
        const sim::FlightSetup& setup = flight.setup;
        const sim::Airframe& frame = setup.airframe;
        const double force_n = q_pa * setup.reference_area_m2;
        const double per_s = force_n / speed_mps; // rho V S / 2
        lp_per_s = -per_s * frame.roll_damping_m2 / frame.inertia_dry_kg_m2[0];
        ld_per_s2 = force_n * setup.fins->roll_effect_m / frame.inertia_dry_kg_m2[0];
        const double inertia = frame.inertia_dry_kg_m2[1];
        // Normal force bends the path after the nose; gravity slows a steep climb, which opens the angle again.
        const double path_per_s =
            per_s * frame.normal_force_slope_per_rad / setup.mass_dry_kg - setup.gravity.at(0.0) / speed_mps;
        fin_effect_per_s2 = force_n * setup.fins->pitch_effect_m / inertia;
        const double rate_per_s = per_s * frame.damping_length2_m2 / inertia;
        const double stiff = force_n * frame.normal_force_slope_per_rad * frame.static_margin_m / inertia;
        const double w = std::sqrt(stiff + path_per_s * rate_per_s);
        natural_hz = w / (2 * std::numbers::pi);
        damping = (path_per_s + rate_per_s) / (2 * w);
    }
};

} // namespace turnstone::response_test
