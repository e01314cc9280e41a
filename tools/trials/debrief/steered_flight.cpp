#include "tools/trials/debrief/steered_flight.hpp"

#include <cmath>
#include <memory>
#include <numbers>
#include <stdexcept>

#include "server/pipeline/station/pipeline.hpp"
#include "server/pipeline/vehicle_texts.hpp"
#include "server/record/write/recorder.hpp"
#include "shared/constants.hpp"
#include "shared/time.hpp"

namespace turnstone::trials {

namespace {

constexpr std::int64_t kPad_ns = 1'790'000'000 * kNsPerS;
const std::filesystem::path kDunlin = std::filesystem::path(TURNSTONE_SOURCE_DIR) / "tools/demo/dunlin";

std::string text_of(const std::filesystem::path& path) {
    auto text = read_text_file(path);
    if (!text) throw std::runtime_error(text.error().message);
    return std::move(*text);
}

} // namespace

sim::Scenario steered_scenario(const std::string& errors) {
    auto made = sim::make_scenario("nominal", kDunlin, kDunlin.parent_path() / "site.json");
    if (!made) throw std::runtime_error(made.error().message);
    made->errors = *sim::error_set_from_name(errors);
    made->disperse = true;
    made->after_touchdown_s = 0;
    made->telemetry.fins_hz = sim::kFinsRate_hz;
    made->steering = sim::logging_flight(made->vehicle.rocket->burn_time_s());
    return *made;
}

SteeredFlight record_steered(const std::filesystem::path& folder, const sim::Scenario& scenario, std::uint64_t seed,
                             std::string vehicle_json) {
    if (vehicle_json.empty()) vehicle_json = text_of(kDunlin / "vehicle.json");
    SteeredFlight out{sim::make_setup(scenario, seed), {}, {folder}, {}};
    sim::FlightResult flight = sim::fly(scenario, seed);
    std::vector<Problem> problems;
    auto vehicle =
        read_vehicle_texts(text_of(kDunlin / "dictionary.json"), std::move(vehicle_json), "dunlin", problems);
    if (!vehicle) throw std::runtime_error(to_string(problems));
    PipelineSetup setup;
    setup.vehicles.push_back(std::move(*vehicle));
    setup.site_json = text_of(kDunlin.parent_path() / "site.json");
    setup.site = scenario.site;
    setup.links.push_back({"radio", "serial:/dev/ttyUSB0", 0});
    {
        Pipeline pipeline(setup, kPad_ns);
        pipeline.set_prediction_period(kInfinity);
        InputCounter counter(1, kPad_ns);
        Recorder recorder({.directory = folder, .commit_interval_ms = 100, .sync_every_commit = false}, setup);
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

TrueDynamics::TrueDynamics(const SteeredFlight& flight, double q_pa, double speed_mps) {
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

} // namespace turnstone::trials
