// A quick look at some flights while estimators are being changed:
//
//     build/release/bin/look_at_flights --flights 10 --errors tuning --radio rough
//     build/release/bin/look_at_flights --kit baro --baro-hz 5
//     build/release/bin/look_at_flights --kit all --imu-hz 10 --baro-hz 5 --first 1 --flights 20
//     build/release/bin/look_at_flights --scenario reboot-at-ejection --trouble boot-10
//
// Each cell is rms error (mean of (error / stated 1-sigma)^2, 1 is right) and the time for which there was an estimate,
// in per cent of the phase. Tune with seeds below 1000 and the set "tuning" only.
#include <cmath>
#include <cstdio>
#include <exception>
#include <string>

#include <CLI/CLI.hpp>

#include "tools/trials/acceptance.hpp"
#include "tools/trials/cells.hpp"
#include "tools/trials/trial.hpp"
#include "tools/trials/trial_case.hpp"

using namespace turnstone;
using namespace turnstone::trials;

namespace {

void look(const TrialCase& trial_case, std::uint64_t first, int flights) {
    std::printf("%s, seeds %llu to %llu\n", trial_case.title().c_str(), static_cast<unsigned long long>(first),
                static_cast<unsigned long long>(first) + static_cast<unsigned long long>(flights) - 1);
    const auto scores = run_trials(scenario_of(trial_case), first, flights);
    print_errors_by_phase(scores);
    print_moments(scores);
    print_predictions(scores);
    Sheet lamps("health in flight: consistent, overconfident", {"vertical filter", "GNSS fixes", "pressure altitude"});
    lamps.row("per cent of rows",
              {lamp_cell(scores, Lamp::vertical), lamp_cell(scores, Lamp::fixes), lamp_cell(scores, Lamp::heights)});
    lamps.print();
    Sheet outside("outside what is demanded", {"of", "figure", "± by chance"});
    const CaseGroup group = trial_case.trouble.empty() ? CaseGroup::scenarios : CaseGroup::troubles;
    for (const Mark& mark : marks_of({"", "", group, trial_case}, scores))
        if (!mark.met())
            outside.row(text_of(mark.demand),
                        {mark.about, mark.text(), std::isnan(mark.chance) ? "" : text("%.2f", mark.chance)});
    outside.print();
}

} // namespace

int main(int argument_count, char** arguments) {
    TrialCase trial_case;
    std::uint64_t first = 1;
    int flights = 10;
    CLI::App app{"Flies some simulated flights through the whole station and prints the errors of its estimates."};
    app.add_option("--scenario", trial_case.scenario, "nominal, late-drogue, ...");
    app.add_option("--radio", trial_case.radio, "clean, mild or rough");
    app.add_option("--errors", trial_case.errors, "error set: ideal, tuning or acceptance");
    std::string kit_names, trouble_names;
    for (const Kit& kit : kits()) kit_names += std::string(kit.name) + " ";
    for (const Trouble& trouble : troubles()) trouble_names += std::string(trouble.name) + " ";
    app.add_option("--kit", trial_case.kit, "what the vehicle measures: " + kit_names);
    app.add_option("--trouble", trial_case.trouble, "one thing that is worse: " + trouble_names);
    app.add_option("--imu-hz", trial_case.imu_hz, "inertial samples a second (200, 100, 50, 10, 5, ...)");
    app.add_option("--baro-hz", trial_case.pressure_hz, "pressures a second");
    app.add_option("--fix-hz", trial_case.fix_hz, "fixes a second");
    app.add_option("--batch", trial_case.batch, "inertial samples in a packet");
    app.add_option("--first", first, "first seed");
    app.add_option("--flights", flights, "how many");
    CLI11_PARSE(app, argument_count, arguments);
    try {
        look(trial_case, first, flights);
    } catch (const std::exception& error) {
        std::fprintf(stderr, "look_at_flights: %s\n", error.what());
        return 1;
    }
}
