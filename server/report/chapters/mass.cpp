#include "server/report/chapters/mass.hpp"

#include <cmath>
#include <utility>

#include <fmt/format.h>

#include "server/analysis/mass/mass_budget.hpp"
#include "server/report/page/page.hpp"
#include "server/report/page/table.hpp"
#include "server/report/text/figure.hpp"

namespace turnstone::report {

namespace {

using namespace analysis;

/// Kilograms are shown to a gram, lengths to a millimetre; a ± of less than a gram to a tenth of it.
constexpr int kMassDecimals = 3;

Markup cell(double value, double sigma = kNone) {
    const int decimals = sigma > 0 && sigma < 1e-3 ? kMassDecimals + 1 : kMassDecimals;
    return Markup::text(std::isnan(value) ? "" : rounded(value, sigma, decimals));
}

Markup margin_cell(double margin_kg) {
    return Markup::text(std::isnan(margin_kg) ? "" : with_sign(margin_kg, kMassDecimals));
}

Markup parts_table(const MassBudget& budget) {
    LedgerTable table(
        {{"Part"}, {"kg", true}, {"Target", true}, {"Margin", true}, {"Station, m", true}, {"Weighed on", true}});
    for (const BudgetPart& part : budget.parts) {
        std::vector<Markup> cells{Markup::text(part.now.part),
                                  std::isnan(part.now.mass_kg) ? Markup("not weighed")
                                                               : cell(part.now.mass_kg, part.now.mass_sigma_kg),
                                  cell(part.now.target_kg),
                                  margin_cell(part.margin_kg),
                                  cell(part.now.station_m, part.now.station_sigma_m),
                                  Markup::text(part.now.weighed_on)};
        if (part.margin_kg < 0)
            table.marked_row(std::move(cells));
        else
            table.row(std::move(cells));
    }
    for (const auto& [name, total] : {std::pair("Loaded", &budget.loaded), std::pair("Burnt out", &budget.burnt_out)})
        table.row({strong(name), cell(total->mass_kg, total->mass_sigma_kg), cell(total->target_kg),
                   margin_cell(total->margin_kg), cell(total->station_m, total->station_sigma_m)});
    return table.markup();
}

Markup left_out(const BudgetTotal& total) {
    std::string text;
    if (total.weighed < total.parts)
        text += fmt::format("{} of {} parts are not weighed: the totals are of the others. ",
                            total.parts - total.weighed, total.parts);
    if (total.placed < total.weighed)
        text += fmt::format("{} parts have no station: no centre of mass without it. ", total.weighed - total.placed);
    return text.empty() ? Markup() : element("p.note", text);
}

Markup pairs_table(const MassBudget& budget) {
    LedgerTable table({{"Pair"}, {"Kind"}, {"Difference over their mean", true}});
    for (const BudgetPair& pair : budget.pairs)
        table.row({Markup::text(pair.first + " − " + pair.second), Markup::text(pair.like),
                   Markup::text(rounded_with_sign(100 * pair.difference.fraction, 100 * pair.difference.sigma, 2) +
                                "\u00a0%")});
    return table.empty() ? Markup() : element("div.keep", element("h3", "Like parts") + table.markup());
}

} // namespace

Markup mass_chapter(const Recorded& recorded, std::size_t vehicle) {
    std::vector<Problem> problems;
    const std::string& text = recorded.setup().vehicles.at(vehicle).mass_csv;
    if (text.empty()) return {};
    const auto weighings = read_mass_csv(text, "mass.csv", problems);
    if (!weighings) return {};
    const MassBudget budget = mass_budget(*weighings);
    return chapter("Mass record", parts_table(budget) + left_out(budget.loaded) + pairs_table(budget));
}

} // namespace turnstone::report
