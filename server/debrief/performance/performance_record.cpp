#include "server/debrief/performance/performance_record.hpp"

#include <algorithm>
#include <cmath>

#include "server/analysis/mass/mass_budget.hpp"
#include "server/pipeline/setup.hpp"
#include "shared/geodesy.hpp"
#include "shared/time.hpp"

namespace turnstone::debrief {

namespace {

RowsOfColumn rows_of(const Recorded& recorded, const std::optional<ColumnPlace>& place, Window window,
                     std::int64_t liftoff_ns) {
    RowsOfColumn out;
    if (!place) return out;
    const SeriesBlock block = recorded.rows(*place->table, {place->column}, window);
    for (std::size_t i = 0; i < block.rows; ++i) {
        out.t_s.push_back(seconds_between(liftoff_ns, block.t_ns[i]));
        out.value.push_back(block.mean[i]);
    }
    return out;
}

Window smoothed_window(const Chapter& chapter) {
    return {*chapter.liftoff_ns - kNsPerS, chapter.flown().to_ns};
}

/// Of the folder's mass.csv, when every part has been weighed; else of vehicle.json.
analysis::Masses weighed_masses(const VehicleSetup& vehicle) {
    analysis::Masses out = masses_of(*vehicle.vehicle.rocket);
    const auto file = std::ranges::find(vehicle.files, "mass.csv", &FolderFile::name);
    if (file == vehicle.files.end()) return out;
    std::vector<Problem> problems;
    const auto weighings = analysis::read_mass_csv(file->text, file->name, problems);
    if (!weighings) return out;
    const analysis::MassBudget budget = analysis::mass_budget(*weighings);
    if (budget.burnt_out.parts == 0 || budget.burnt_out.weighed != budget.burnt_out.parts ||
        !std::isfinite(budget.burnt_out.mass_sigma_kg))
        return out;
    out.dry_kg = budget.burnt_out.mass_kg;
    out.dry_sigma_kg = budget.burnt_out.mass_sigma_kg;
    if (std::isfinite(budget.propellant_kg) && std::isfinite(budget.propellant_sigma_kg)) {
        out.propellant_kg = budget.propellant_kg;
        out.propellant_sigma_kg = budget.propellant_sigma_kg;
    }
    return out;
}

double since(std::int64_t liftoff_ns, const std::optional<std::int64_t>& t_ns) {
    return t_ns ? seconds_between(liftoff_ns, *t_ns) : analysis::kNone;
}

} // namespace

PerformanceRecord performance_record(const OpenFlight& flight, const std::vector<SmoothedSeries>& smoothed,
                                     const estimate::DayAtmosphere& day, const Site& site, std::size_t parachutes) {
    const Recorded& recorded = flight.recorded();
    const Chapter& chapter = flight.chapter();
    const std::int64_t liftoff_ns = *chapter.liftoff_ns;
    const Window window = smoothed_window(chapter);
    const auto column = [&](const char* table, const char* name) {
        return rows_of(recorded, recorded.column(recorded.table(chapter.vehicle, table), name), window, liftoff_ns);
    };
    PerformanceRecord out;
    RowsOfColumn axial = rows_of(recorded, recorded.with_role(chapter.vehicle, {"accel_body_x"}), window, liftoff_ns);
    out.axial = {std::move(axial.t_s), std::move(axial.value)};
    out.burnout_s = since(liftoff_ns, chapter.burnout_ns);
    out.apogee_s = since(liftoff_ns, chapter.apogee_ns);
    out.touchdown_s = since(liftoff_ns, chapter.touchdown_ns);
    out.apogee_sigma_s = chapter.apogee_sigma_s;
    for (std::size_t k = 0; k < parachutes; ++k) {
        // A single parachute is the main one or the first, as its descent shows.
        const bool as_main = k > 0 || (parachutes == 1 && !chapter.drogue_out_ns);
        out.parachute_out_s.push_back(since(liftoff_ns, as_main ? chapter.main_out_ns : chapter.drogue_out_ns));
        out.parachute_out_sigma_s.push_back(as_main ? chapter.main_out_sigma_s : chapter.drogue_out_sigma_s);
    }
    const auto wind = wind_by_drift(site, smoothed, liftoff_ns, out);
    out.course = course_of(smoothed, day, wind, liftoff_ns,
                           {.mach = column("estimate/air", "mach"),
                            .mach_sigma = column("estimate/air", "mach_sigma"),
                            .speed_of_sound_mps = column("estimate/air", "speed_of_sound_mps"),
                            .density_kg_m3 = column("estimate/air", "density_kg_m3"),
                            .up_mps = column("estimate/vertical", "vertical_speed_mps")});
    return out;
}

Result<FlightPerformance> flight_performance(OpenFlight& flight, const Advance& advance) {
    const auto setup = flight.reader().setup();
    if (!setup) return tl::unexpected(setup.error());
    const VehicleSetup& vehicle = setup->vehicles.at(flight.chapter().vehicle);
    if (!vehicle.vehicle.rocket)
        return fail(to_string(flight.id()) + ": its vehicle.json describes no rocket to compare with; add one");
    const auto steps = steps_of(flight, advance);
    if (!steps) return tl::unexpected(steps.error());
    auto smoothed = smoothed_series(*steps, smoothed_window(flight.chapter()), advance);
    if (!smoothed) return tl::unexpected(smoothed.error());
    FlightPerformance out{*vehicle.vehicle.rocket,
                          nlohmann::json::parse(vehicle.vehicle_json, nullptr, false),
                          weighed_masses(vehicle),
                          std::move(*smoothed),
                          {}};
    const Site& site = setup->site;
    out.found = performance_of(
        performance_record(flight, out.smoothed, steps->day.value(), site, out.rocket.parachutes.size()), out.rocket,
        vehicle.vehicle.sensors, normal_gravity_mps2(site.pad.latitude_deg, site.pad.height_m), out.masses);
    return out;
}

} // namespace turnstone::debrief
