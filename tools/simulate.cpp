/// simulate: flies one scenario, or runs one of the machines around a rocket, and sends its telemetry to a
/// pseudo-terminal, a socket or a file.
#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <csignal>
#include <cstdio>
#include <exception>
#include <filesystem>
#include <fstream>
#include <limits>
#include <memory>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include <CLI/CLI.hpp>
#include <nlohmann/json.hpp>

#include "protocol/packet_radio/report.hpp"
#include "shared/site.hpp"
#include "tools/sim/fly.hpp"
#include "tools/sim/manifest.hpp"
#include "tools/sim/radio/sender.hpp"
#include "tools/sim/surface/surface.hpp"
#include "tools/sim/tracker.hpp"

namespace {

namespace sim = turnstone::sim;

std::atomic<bool> stop_asked{false};

struct Options {
    std::string scenario = "nominal";
    std::string machine = "rocket";
    std::string reports = "uncompressed";
    std::string vehicle_dir = "tools/demo/sanderling";
    std::string site_file = "tools/demo/site.json";
    std::vector<std::string> to;
    std::string impairment = "clean";
    std::string errors = "tuning";
    std::string speed = "1";
    std::string manifest;
    std::string truth;
    std::string unplug;
    std::string steer;
    double before_ignition_s = 20.0;
    double after_touchdown_s = 15.0;
    double wait_s = 10.0;
    double for_s = 3600.0;
    double cooling_fails_s = std::numeric_limits<double>::quiet_NaN();
    std::vector<double> loss, bit_error; ///< by receiver; the last stands for the others too
    double fades_per_minute = -1.0;
    std::uint64_t seed = 1;
    bool disperse = false;
    bool list = false;
};

int complain(const std::string& what) {
    std::fprintf(stderr, "simulate: %s\n", what.c_str());
    return 1;
}

/// "max" or a factor; negative when it is neither.
double parse_speed(const std::string& text) {
    if (text == "max") return 0.0;
    char* end = nullptr;
    const double value = std::strtod(text.c_str(), &end);
    return end != text.c_str() && *end == '\0' && value > 0.0 && value <= 1e6 ? value : -1.0;
}

bool write_file(const std::string& path, const auto& writer) {
    std::ofstream file(path, std::ios::binary);
    writer(file);
    file.close();
    return static_cast<bool>(file);
}

using Outputs = std::vector<std::unique_ptr<sim::Output>>;

/// Opens what `--to` names, and waits for who reads it.
turnstone::Result<Outputs> open_outputs(const Options& options) {
    Outputs outputs;
    for (const std::string& to : options.to) {
        auto output = sim::open_output(to);
        if (!output) return tl::unexpected(output.error());
        outputs.push_back(std::move(*output));
        std::fprintf(stderr, "simulate: sending to %s\n", to.c_str());
    }
    for (std::size_t k = 0; k < outputs.size(); ++k)
        if (!outputs[k]->wait_for_reader(options.wait_s))
            std::fprintf(stderr, "simulate: nothing reads %s yet; starting anyway\n", options.to[k].c_str());
    return outputs;
}

/// Plays a stream into each.
int send(const Outputs& outputs, const std::vector<const sim::DeliveredStream*>& streams, double speed,
         const std::optional<sim::Unplugged>& unplugged) {
    std::vector<turnstone::Result<void>> played(outputs.size());
    std::vector<std::thread> players;
    for (std::size_t k = 0; k < outputs.size(); ++k)
        players.emplace_back([&, k] {
            played[k] = sim::play(*streams[k], *outputs[k], speed, k == 0 ? unplugged : std::nullopt, stop_asked);
        });
    for (std::thread& player : players) player.join();
    for (const auto& each : played)
        if (!each) return complain(each.error().message);
    return 0;
}

/// The value of one of the receivers.
double of_receiver(const std::vector<double>& values, std::size_t receiver) {
    return values[std::min(receiver, values.size() - 1)];
}

/// Where a stream begins that somebody reads: receivers speak of whole seconds. Waits for it.
double next_utc_second() {
    const auto begins = std::chrono::ceil<std::chrono::seconds>(std::chrono::system_clock::now());
    std::this_thread::sleep_until(begins);
    return static_cast<double>(begins.time_since_epoch().count());
}

/// The boat and the weather station, whose sentences have UTC.
int run_machine(const Options& options, double speed) {
    std::vector<turnstone::Problem> problems;
    const auto json = turnstone::parse_json_file(options.site_file, problems);
    const turnstone::Site site = json ? turnstone::read_site(*json, options.site_file, problems) : turnstone::Site{};
    if (!problems.empty()) return complain(turnstone::to_string(problems));
    if (options.to.size() != 1) return complain("--machine " + options.machine + " needs one --to");
    const auto outputs = open_outputs(options);
    if (!outputs) return complain(outputs.error().message);
    const sim::SurfaceStream stream =
        options.machine == "boat"
            ? sim::boat_stream(site, options.seed, next_utc_second(), options.for_s, options.cooling_fails_s)
            : sim::weather_stream(site, options.seed, options.for_s);
    return send(*outputs, {&stream}, speed, {});
}

/// The rocket's flight as a packet radio tracker on board tells it.
int run_tracker(const Options& options, const sim::Scenario& scenario, double speed) {
    if (options.to.size() != 1) return complain("--machine tracker needs one --to");
    const sim::SensedFlight flight = sim::fly_sensors(scenario, options.seed);
    const auto outputs = open_outputs(options);
    if (!outputs) return complain(outputs.error().message);
    const sim::TrackerStream said = sim::tracker_stream(
        flight, *turnstone::from_word<turnstone::PositionFormat>(options.reports), next_utc_second(), options.seed);
    std::fprintf(stderr, "simulate: %s: %u positions, %u of telemetry, %u copies, %u by others\n", sim::kTrackerStation,
                 said.positions, said.telemetry, said.copies, said.others);
    return send(*outputs, {&said.stream}, speed, {});
}

int run(const Options& options) {
    if (options.list) {
        for (const sim::ScenarioName& scenario : sim::scenario_names())
            std::printf("%-20s %s\n", scenario.name.data(), scenario.summary.data());
        return 0;
    }
    const double speed = parse_speed(options.speed);
    if (speed < 0.0) return complain("--speed " + options.speed + ": expected a positive factor or max");
    if (options.machine != "rocket" && options.machine != "tracker") return run_machine(options, speed);
    std::optional<sim::Unplugged> unplugged;
    if (!options.unplug.empty()) {
        double from_s = 0.0, to_s = 0.0;
        char rest = 0;
        if (std::sscanf(options.unplug.c_str(), "%lf,%lf%c", &from_s, &to_s, &rest) != 2 || !(from_s < to_s))
            return complain("--unplug " + options.unplug + ": expected two times in seconds, FROM,TO");
        unplugged = sim::Unplugged{from_s, to_s};
    }
    auto scenario = sim::make_scenario(options.scenario, options.vehicle_dir, options.site_file);
    if (!scenario) return complain(scenario.error().message);
    scenario->before_ignition_s = options.before_ignition_s;
    scenario->after_touchdown_s = options.after_touchdown_s;
    scenario->disperse = options.disperse;
    if (!options.steer.empty()) {
        if (!scenario->airframe.fins)
            return complain("--steer: " + options.vehicle_dir +
                            " has no fins in its airframe.json; try tools/demo/dunlin");
        scenario->telemetry.fins_hz = sim::kFinsRate_hz;
        scenario->steering.emplace();
        if (options.steer == "log") {
            scenario->steering = sim::logging_flight(scenario->vehicle.rocket->burn_time_s());
        } else {
            std::vector<turnstone::Problem> problems;
            const auto law = turnstone::parse_json_file(options.steer, problems);
            if (!law) return complain(turnstone::to_string(problems));
            scenario->steering->law = *law;
        }
    }
    const auto impairment = sim::impairment_from_name(options.impairment);
    if (!impairment) return complain("--impairment " + options.impairment + ": expected clean, mild or rough");
    scenario->impairment = *impairment;
    const auto errors = sim::error_set_from_name(options.errors);
    if (!errors) return complain("--errors " + options.errors + ": expected ideal, tuning or acceptance");
    scenario->errors = *errors;
    if (options.machine == "tracker") return run_tracker(options, *scenario, speed);
    if (options.fades_per_minute >= 0.0) scenario->impairment.fades_per_minute = options.fades_per_minute;
    scenario->further_receivers.assign(std::max<std::size_t>(options.to.size(), 1) - 1, scenario->impairment);
    for (std::size_t k = 0; k <= scenario->further_receivers.size(); ++k) {
        sim::Impairment& receiver = k == 0 ? scenario->impairment : scenario->further_receivers[k - 1];
        if (!options.loss.empty()) receiver.loss = of_receiver(options.loss, k);
        if (!options.bit_error.empty()) receiver.bit_error = of_receiver(options.bit_error, k);
    }

    const sim::FlightResult flight = sim::fly(*scenario, options.seed);
    if (!options.manifest.empty() && !write_file(options.manifest, [&](std::ostream& file) {
            sim::write_manifest(file, flight, *scenario, options.seed);
        }))
        return complain("cannot write " + options.manifest + "; check the folder and its free space");
    if (!options.truth.empty() &&
        !write_file(options.truth, [&](std::ostream& file) { sim::write_truth(file, flight.truth); }))
        return complain("cannot write " + options.truth + "; check the folder and its free space");
    const sim::FlightEvents& events = flight.truth.events;
    std::fprintf(stderr, "simulate: %s, seed %llu: %zu packets, %.1f s", scenario->name.c_str(),
                 static_cast<unsigned long long>(options.seed), flight.sent.packets.size(),
                 flight.truth.samples.back().t_s);
    if (!std::isnan(events.apogee_s)) {
        std::fprintf(stderr, ", apogee %.1f m at %.2f s, touchdown at %.2f s", events.apogee_m, events.apogee_s,
                     events.touchdown_s);
    }
    std::fputc('\n', stderr);
    if (options.to.empty()) return 0;
    std::vector<const sim::DeliveredStream*> streams{&flight.received};
    for (const sim::DeliveredStream& further : flight.further) streams.push_back(&further);
    const auto outputs = open_outputs(options);
    if (!outputs) return complain(outputs.error().message);
    return send(*outputs, streams, speed, unplugged);
}

} // namespace

int main(int argument_count, char** arguments) {
    Options options;
    CLI::App app{"Flies the demonstration vehicle and sends its telemetry as a receiver would hand it over."};
    app.add_option("--scenario", options.scenario, "what happens (see --list-scenarios)");
    app.add_option("--machine", options.machine,
                   "rocket; tracker, which says by packet radio where the rocket is; or one of the machines around it\n"
                   "that say NMEA 0183: boat or weather-station")
        ->check(CLI::IsMember({"rocket", "tracker", "boat", "weather-station"}));
    app.add_option("--reports", options.reports, "format of the tracker's position reports")
        ->check(CLI::IsMember({"uncompressed", "compressed", "Mic-E"}));
    app.add_option("--for-s", options.for_s, "seconds that the boat or the weather station runs")
        ->check(CLI::Range(1.0, 86400.0));
    app.add_option("--cooling-fails-s", options.cooling_fails_s, "seconds after which the boat's cooling water stops");
    app.add_flag("--list-scenarios", options.list, "list the scenarios and exit");
    app.add_option("--vehicle", options.vehicle_dir, "folder with vehicle.json and airframe.json");
    app.add_option("--site", options.site_file, "site file");
    app.add_option(
           "--to", options.to,
           "URI to send to: pty:PATH (a pseudo-terminal under a symbolic link), udp://HOST:PORT,\n"
           "tcp://ADDRESS:PORT (listens there for one client) or file:PATH. Given several times, so many receivers\n"
           "hear the same rocket, each with losses and errors of its own; --manifest and --unplug are of the first")
        ->allow_extra_args(false);
    app.add_option("--speed", options.speed, "times real time, or max");
    app.add_option("--seed", options.seed, "seed of everything random");
    app.add_flag("--disperse", options.disperse,
                 "scatter thrust, drag, mass, rail, wind and delays around the files' values");
    app.add_option("--errors", options.errors, "what sensors, air and airframe get wrong: ideal, tuning or acceptance");
    app.add_option("--impairment", options.impairment, "clean, mild or rough");
    app.add_option("--loss", options.loss,
                   "probability of losing a packet, in place of the impairment's. Of several receivers: one each,\n"
                   "with commas between; the last stands for the others too")
        ->delimiter(',')
        ->allow_extra_args(false)
        ->check(CLI::Range(0.0, 1.0));
    app.add_option("--bit-error", options.bit_error, "probability of each bit to be wrong, given as --loss")
        ->delimiter(',')
        ->allow_extra_args(false)
        ->check(CLI::Range(0.0, 0.5));
    app.add_option("--fades-per-minute", options.fades_per_minute, "fades of 2 s, in place of the impairment's")
        ->check(CLI::Range(0.0, 20.0));
    app.add_option("--before-ignition-s", options.before_ignition_s, "seconds from the start to ignition")
        ->check(CLI::Range(1.0, 7200.0));
    app.add_option("--after-touchdown-s", options.after_touchdown_s, "seconds from touchdown to the end")
        ->check(CLI::Range(0.0, 7200.0));
    app.add_option("--steer", options.steer,
                   "log: move the fins as a logging flight does; or a file with a control law, flown closed loop.\n"
                   "The vehicle is one whose fins turn (tools/demo/dunlin), and has packets of its own at 115200 baud");
    app.add_option("--wait-s", options.wait_s, "seconds to wait for a reader before starting")
        ->check(CLI::Range(0.0, 3600.0));
    app.add_option("--unplug", options.unplug, "FROM,TO: unplug the cable between these seconds of the run");
    app.add_option("--manifest", options.manifest, "write every packet and its fate here (JSON Lines)");
    app.add_option("--truth", options.truth, "write the truth here (CSV)");
    CLI11_PARSE(app, argument_count, arguments);
    std::signal(
        SIGINT, [](int) { stop_asked = true; });
    std::signal(SIGTERM, [](int) { stop_asked = true; });
    std::signal(SIGPIPE, SIG_IGN);
    try {
        return run(options);
    } catch (const std::exception& error) {
        return complain(error.what());
    }
}
