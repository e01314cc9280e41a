// What the parts weigh against their budget.
#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <ostream>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "server/analysis/mass/mass_budget.hpp"
#include "server/commands/subcommands.hpp"
#include "server/report/text/figure.hpp"
#include "shared/vehicle.hpp"

namespace turnstone {

namespace {

namespace fs = std::filesystem;
using namespace analysis;

/// Kilograms are shown to a gram, lengths to a millimetre.
constexpr int kDecimals = 3;

/// Columns set under each other with spaces; the first to the left, the others to the right.
class TextTable {
  public:
    void add(std::vector<std::string> cells) { rows_.push_back(std::move(cells)); }
    void write(std::ostream& out) const {
        std::vector<std::size_t> widths;
        for (const auto& row : rows_) {
            widths.resize(std::max(widths.size(), row.size()));
            for (std::size_t i = 0; i < row.size(); ++i) widths[i] = std::max(widths[i], width_of(row[i]));
        }
        for (const auto& row : rows_) {
            std::string line;
            for (std::size_t i = 0; i < row.size(); ++i) {
                const std::string space(widths[i] - width_of(row[i]), ' ');
                line += (i == 0 ? "" : "  ") + (i == 0 ? row[i] + space : space + row[i]);
            }
            out << line.substr(0, line.find_last_not_of(' ') + 1) << "\n";
        }
    }

  private:
    /// Characters, not bytes: those that go on with one are not counted.
    static std::size_t width_of(const std::string& text) {
        return static_cast<std::size_t>(std::ranges::count_if(
            text, [](char c) { return (static_cast<unsigned char>(c) & 0xc0) != 0x80; }));
    }

    std::vector<std::vector<std::string>> rows_;
};

std::string or_empty(double value, double sigma) {
    return std::isnan(value) ? "" : rounded(value, sigma, kDecimals);
}

void write_parts(const MassBudget& budget, std::ostream& out) {
    TextTable table;
    table.add({"Part", "kg", "target", "margin", "station, m", "weighed on", "weighings"});
    for (const BudgetPart& part : budget.parts)
        table.add({part.now.part,
                   std::isnan(part.now.mass_kg) ? "not weighed" : or_empty(part.now.mass_kg, part.now.mass_sigma_kg),
                   or_empty(part.now.target_kg, kNone),
                   std::isnan(part.margin_kg) ? "" : with_sign(part.margin_kg, kDecimals),
                   or_empty(part.now.station_m, part.now.station_sigma_m), part.now.weighed_on,
                   std::to_string(part.history.size())});
    for (const auto& [name, total] : {std::pair("Loaded", &budget.loaded), std::pair("Burnt out", &budget.burnt_out)})
        table.add({name, or_empty(total->mass_kg, total->mass_sigma_kg), or_empty(total->target_kg, kNone),
                   std::isnan(total->margin_kg) ? "" : with_sign(total->margin_kg, kDecimals),
                   or_empty(total->station_m, total->station_sigma_m), "", ""});
    table.write(out);
}

/// What the totals leave out.
void write_gaps(const BudgetTotal& total, std::ostream& out) {
    if (total.weighed < total.parts)
        out << "  " << total.parts - total.weighed << " of " << total.parts
            << " parts not weighed: the totals are of the others\n";
    if (total.placed < total.weighed)
        out << "  " << total.weighed - total.placed
            << " parts without station_m: no centre of mass and no inertia without it\n";
    if (total.with_target < total.parts)
        out << "  " << total.parts - total.with_target << " parts without target_kg: no margin in all\n";
    if (total.mass_sigma_scale_kg > 0)
        out << "  ± of the loaded mass: " << rounded(total.mass_sigma_scale_kg, kNone, kDecimals)
            << " kg if one scale's error is in every part\n";
}

void write_inertia(const MassBudget& budget, std::ostream& out) {
    if (std::isnan(budget.loaded.pitch_inertia_kg_m2)) return;
    out << "\nInertia about the centre of mass, kg m²\n";
    TextTable table;
    table.add({"", "roll", "pitch"});
    for (const auto& [name, total] : {std::pair("Loaded", &budget.loaded), std::pair("Burnt out", &budget.burnt_out)})
        table.add({name, significant(total->roll_inertia_kg_m2, 3),
                   rounded(total->pitch_inertia_kg_m2, total->pitch_inertia_sigma_kg_m2, 4)});
    table.write(out);
    if (budget.loaded.with_inertia < budget.loaded.parts)
        out << "  " << budget.loaded.parts - budget.loaded.with_inertia
            << " parts without their own: taken as points, so the true values are greater\n";
}

void write_pairs(const MassBudget& budget, std::ostream& out) {
    if (budget.pairs.empty()) return;
    out << "\nLike parts, difference over their mean\n";
    TextTable table;
    for (const BudgetPair& pair : budget.pairs)
        table.add({pair.first + " − " + pair.second, pair.like,
                   rounded_with_sign(100 * pair.difference.fraction, 100 * pair.difference.sigma, 2) + " %"});
    table.write(out);
}

/// What vehicle.json says and would say. Nothing is written.
void write_offer(const MassBudget& budget, const RocketModel& rocket, std::ostream& out) {
    out << "\nvehicle.json, /rocket: unchanged; what weighing would put there\n";
    if (budget.loaded.weighed < budget.loaded.parts) {
        out << "  nothing before every part is weighed\n";
        return;
    }
    TextTable table;
    const auto offer = [&table](const char* key, double in_file, double weighed, double sigma) {
        if (std::isnan(weighed)) return;
        table.add({fmt::format("  {}", key), fmt::format("{}", in_file), "→", rounded(weighed, sigma, kDecimals),
                   in_file > 0 ? with_sign(100 * (weighed / in_file - 1), 1) + " %" : ""});
    };
    offer("mass_dry_kg", rocket.mass_dry_kg, budget.burnt_out.mass_kg, budget.burnt_out.mass_sigma_kg);
    offer("mass_propellant_kg", rocket.mass_propellant_kg, budget.propellant_kg, budget.propellant_sigma_kg);
    table.write(out);
}

int weigh(const Arguments& given, std::ostream& out, std::ostream& errors) {
    const fs::path folder = paths_of(given, "FOLDER").front();
    const fs::path file = folder / "mass.csv";
    const auto text = read_text_file(file);
    if (!text) return fail_with(Error{text.error().message + "; give the vehicle's folder with its mass.csv"}, errors);
    std::vector<Problem> problems;
    const auto weighings = read_mass_csv(*text, file.string(), problems);
    std::optional<Vehicle> vehicle;
    if (const fs::path about = folder / "vehicle.json"; fs::exists(about))
        if (const auto json = parse_json_file(about, problems)) vehicle = read_vehicle(*json, about.string(), problems);
    if (!problems.empty()) return fail_with(problems, errors);
    const MassBudget budget = mass_budget(*weighings);
    write_parts(budget, out);
    write_gaps(budget.loaded, out);
    write_inertia(budget, out);
    write_pairs(budget, out);
    if (vehicle && vehicle->rocket) write_offer(budget, *vehicle->rocket, out);
    if (const std::string target = value_of(given, "--output"); !target.empty()) {
        std::ofstream written(target, std::ios::binary);
        written << write_mass_csv(*weighings) << std::flush;
        if (!written) return fail_with(Error{target + " cannot be written"}, errors);
    }
    return EXIT_SUCCESS;
}

} // namespace

Subcommand mass_subcommand() {
    return {.name = "mass",
            .help = "Add up the weighings in a vehicle folder's mass.csv: margins, totals, centre of mass, like parts",
            .arguments = {{.name = "FOLDER", .help = "Vehicle folder with mass.csv", .required = true},
                          {.name = "-o,--output",
                           .value_name = "FILE",
                           .help = "Write every weighing to this file too, with every column (RFC 4180)"}},
            .run = weigh};
}

} // namespace turnstone
