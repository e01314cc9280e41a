#include "server/analysis/mass/mass_budget.hpp"

#include <algorithm>
#include <cmath>
#include <map>

namespace turnstone::analysis {

namespace {

/// More of one kind are compared with the first alone: n (n - 1) / 2 pairs of many fins are read by nobody.
constexpr std::size_t kComparedWithEachOther = 4;

double or_zero(double value) {
    return std::isnan(value) ? 0 : value;
}

/// Members that `now` leaves open are taken from `older`.
void fill_in(Weighing& now, const Weighing& older) {
    for (double Weighing::*const number :
         {&Weighing::target_kg, &Weighing::station_m, &Weighing::station_sigma_m, &Weighing::off_axis_y_m,
          &Weighing::off_axis_z_m, &Weighing::roll_inertia_kg_m2, &Weighing::pitch_inertia_kg_m2,
          &Weighing::pitch_inertia_sigma_kg_m2})
        if (std::isnan(now.*number)) now.*number = older.*number;
    if (std::isnan(now.mass_kg)) {
        now.mass_kg = older.mass_kg;
        now.mass_sigma_kg = older.mass_sigma_kg;
        now.weighed_on = older.weighed_on;
    }
    if (now.like.empty()) now.like = older.like;
    now.burns = now.burns || older.burns;
}

std::vector<BudgetPart> parts_of(const std::vector<Weighing>& weighings) {
    std::map<std::string, std::vector<Weighing>> lines;
    std::vector<std::string> order;
    for (const Weighing& weighing : weighings) {
        auto& of_part = lines[weighing.part];
        if (of_part.empty()) order.push_back(weighing.part);
        of_part.push_back(weighing);
    }
    std::vector<BudgetPart> parts;
    for (const std::string& name : order) {
        auto& of_part = lines[name];
        // Lines without a date are older than those with one; of one date the later line is the newer.
        std::ranges::stable_sort(of_part, {}, &Weighing::weighed_on);
        BudgetPart part{of_part.back(), kNone, {}};
        for (auto older = of_part.rbegin() + 1; older != of_part.rend(); ++older) fill_in(part.now, *older);
        part.margin_kg = part.now.target_kg - part.now.mass_kg;
        std::ranges::copy_if(of_part, std::back_inserter(part.history),
                             [](const Weighing& weighing) { return !std::isnan(weighing.mass_kg); });
        parts.push_back(std::move(part));
    }
    return parts;
}

PointedPart pointed(const Weighing& part) {
    PointedPart out;
    out.mass_kg = part.mass_kg;
    out.position_m = {or_zero(part.station_m), or_zero(part.off_axis_y_m), or_zero(part.off_axis_z_m)};
    out.inertia_kg_m2.diagonal() << or_zero(part.roll_inertia_kg_m2), or_zero(part.pitch_inertia_kg_m2),
        or_zero(part.pitch_inertia_kg_m2);
    out.mass_sigma_kg = part.mass_sigma_kg;
    out.station_sigma_m = part.station_sigma_m;
    out.pitch_inertia_sigma_kg_m2 = or_zero(part.pitch_inertia_sigma_kg_m2);
    return out;
}

BudgetTotal total_of(const std::vector<BudgetPart>& parts, bool burnt_out) {
    BudgetTotal total;
    std::vector<PointedPart> pointed_parts;
    double target_kg = 0;
    for (const BudgetPart& part : parts) {
        if (burnt_out && part.now.burns) continue;
        ++total.parts;
        if (!std::isnan(part.now.target_kg)) {
            ++total.with_target;
            target_kg += part.now.target_kg;
        }
        if (std::isnan(part.now.mass_kg)) continue;
        ++total.weighed;
        total.placed += !std::isnan(part.now.station_m);
        total.with_inertia += !std::isnan(part.now.pitch_inertia_kg_m2);
        pointed_parts.push_back(pointed(part.now));
    }
    if (total.with_target > 0) total.target_kg = target_kg;
    if (pointed_parts.empty()) return total;
    const Assembly whole = assemble(pointed_parts);
    total.mass_kg = whole.mass_kg;
    total.mass_sigma_kg = whole.mass_sigma_kg;
    total.mass_sigma_scale_kg = assemble(pointed_parts, 1).mass_sigma_kg;
    if (total.weighed == total.parts && total.with_target == total.parts)
        total.margin_kg = total.target_kg - total.mass_kg;
    if (total.placed == total.parts) {
        total.station_m = whole.centre_m.x();
        total.station_sigma_m = whole.station_sigma_m;
        total.roll_inertia_kg_m2 = whole.inertia_kg_m2(0, 0);
        total.pitch_inertia_kg_m2 = whole.inertia_kg_m2(1, 1);
        total.pitch_inertia_sigma_kg_m2 = whole.pitch_inertia_sigma_kg_m2;
    }
    return total;
}

std::vector<BudgetPair> pairs_of(const std::vector<BudgetPart>& parts) {
    std::map<std::string, std::vector<const Weighing*>> kinds;
    for (const BudgetPart& part : parts)
        if (!part.now.like.empty() && !std::isnan(part.now.mass_kg)) kinds[part.now.like].push_back(&part.now);
    std::vector<BudgetPair> pairs;
    for (const auto& [like, alike] : kinds)
        for (std::size_t i = 0; i < alike.size() && (i == 0 || alike.size() <= kComparedWithEachOther); ++i)
            for (std::size_t k = i + 1; k < alike.size(); ++k)
                pairs.push_back({like, alike[i]->part, alike[k]->part,
                                 relative_difference(alike[i]->mass_kg, alike[i]->mass_sigma_kg, alike[k]->mass_kg,
                                                     alike[k]->mass_sigma_kg)});
    return pairs;
}

} // namespace

MassBudget mass_budget(const std::vector<Weighing>& weighings) {
    MassBudget budget;
    budget.parts = parts_of(weighings);
    budget.loaded = total_of(budget.parts, false);
    budget.burnt_out = total_of(budget.parts, true);
    double propellant_kg = 0;
    double variance = 0;
    bool burns = false;
    for (const BudgetPart& part : budget.parts) {
        if (!part.now.burns) continue;
        burns = true;
        propellant_kg += part.now.mass_kg;
        variance += part.now.mass_sigma_kg * part.now.mass_sigma_kg;
    }
    if (burns) {
        budget.propellant_kg = propellant_kg;
        budget.propellant_sigma_kg = std::sqrt(variance);
    }
    budget.pairs = pairs_of(budget.parts);
    return budget;
}

} // namespace turnstone::analysis
