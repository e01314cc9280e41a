#include "tools/sim/scenario/scenario.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include <nlohmann/json.hpp>

namespace turnstone::sim {

namespace {

constexpr double kDegree_rad = std::numbers::pi / 180.0;

/// 1-sigma scatter of a flight around its description, as hobby motors, hand-built airframes and forecasts show it.
namespace scatter {
constexpr double kThrust = 0.02;
constexpr double kBurnTime = 0.015; ///< at constant impulse
constexpr double kDrag = 0.05;
constexpr double kMass = 0.008;
constexpr double kRailTilt_rad = 0.6 * kDegree_rad;
constexpr double kRailAzimuth_rad = 4.0 * kDegree_rad;
constexpr double kThrustOffset_rad = 0.06 * kDegree_rad;
constexpr double kWindSpeed = 0.25;
constexpr double kWindFrom_rad = 12.0 * kDegree_rad;
constexpr double kPadPressure_pa = 60.0;
constexpr double kPadTemperature_k = 1.5;
constexpr double kLapse_k_per_m = 0.0007;
constexpr double kCant = 0.4;
constexpr double kStaticMargin = 0.08;
constexpr double kParachuteArea = 0.06;
constexpr double kDelay_s = 0.12;
constexpr double kFill = 0.2;
} // namespace scatter

Table table_of(const Curve& curve) {
    return {curve.x, curve.y};
}

struct WindTables {
    Table east;
    Table north;
};

/// Wind given as "from" direction becomes the velocity of the air, linear by components between heights.
WindTables wind_tables(const std::vector<WindLayer>& layers, double factor, double turn_rad) {
    WindTables tables;
    for (const WindLayer& layer : layers) {
        const double from_rad = layer.from_deg * kDegree_rad + turn_rad;
        tables.east.x.push_back(layer.height_m);
        tables.east.y.push_back(-factor * layer.speed_mps * std::sin(from_rad));
        tables.north.x.push_back(layer.height_m);
        tables.north.y.push_back(-factor * layer.speed_mps * std::cos(from_rad));
    }
    return tables;
}

struct Course {
    ScenarioName about;
    void (*apply)(Scenario& scenario);
};

constexpr std::array kCourses = {
    Course{{"nominal", "Everything works: drogue at apogee, main at its height, touchdown"}, [](Scenario&) {}},
    Course{{"late-drogue", "The drogue charge fires 6 s late, in a dive"},
           [](Scenario& scenario) { scenario.drogue_late_s = 6.0; }},
    Course{{"ballistic", "No charge fires; the vehicle comes down nose first and telemetry ends at impact"},
           [](Scenario& scenario) { scenario.charges_fire = false; }},
    Course{{"reboot-at-ejection", "The battery sags at the drogue charge and the flight computer reboots"},
           [](Scenario& scenario) { scenario.reboots_at_ejection = true; }},
    Course{{"gnss-loss", "The GNSS receiver loses its fix at liftoff and finds it again only after touchdown"},
           [](Scenario& scenario) { scenario.gnss_lost_at_liftoff = true; }},
    Course{{"barometer-failure", "The drogue charge's pressure pulse kills the barometer"},
           [](Scenario& scenario) { scenario.barometer_fails_at_ejection = true; }},
    Course{{"separation-test", "Tethered ground test: both charges fire with the vehicle lying on a stand"},
           [](Scenario& scenario) { scenario.kind = RunKind::tethered; }},
    Course{{"on-the-rail", "Upright on the rail, nothing happens"},
           [](Scenario& scenario) { scenario.leaves_rail = false; }},
};

Result<nlohmann::json> load(const std::filesystem::path& path, std::vector<Problem>& problems) {
    auto json = parse_json_file(path, problems);
    if (!json) return fail(to_string(problems));
    return std::move(*json);
}

} // namespace

std::vector<ScenarioName> scenario_names() {
    std::vector<ScenarioName> names;
    for (const Course& course : kCourses) names.push_back(course.about);
    return names;
}

Result<Scenario> make_scenario(std::string_view name, const std::filesystem::path& vehicle_dir,
                               const std::filesystem::path& site_file) {
    const auto course =
        std::find_if(kCourses.begin(), kCourses.end(), [&](const Course& known) { return known.about.name == name; });
    if (course == kCourses.end())
        return fail("there is no scenario \"" + std::string(name) + "\"; --list-scenarios shows them");
    std::vector<Problem> problems;
    Scenario scenario;
    scenario.name = name;
    scenario.summary = course->about.summary;

    const auto vehicle_path = vehicle_dir / "vehicle.json";
    const auto airframe_path = vehicle_dir / "airframe.json";
    const auto vehicle = load(vehicle_path, problems);
    const auto airframe = load(airframe_path, problems);
    const auto site = load(site_file, problems);
    if (!vehicle || !airframe || !site) return fail(to_string(problems));
    scenario.vehicle = read_vehicle(*vehicle, vehicle_path.string(), problems);
    scenario.airframe = read_airframe(*airframe, airframe_path.string(), problems);
    scenario.site = read_site(*site, site_file.string(), problems);
    if (!problems.empty()) return fail(to_string(problems));
    if (!scenario.vehicle.rocket)
        return fail(vehicle_path.string() + ": /rocket: missing; the simulator needs mass, thrust and drag to fly");
    const std::size_t parachutes = scenario.vehicle.rocket->parachutes.size();
    if (scenario.airframe.fill_s.size() != parachutes) {
        return fail(airframe_path.string() + ": /fill_s: has " + std::to_string(scenario.airframe.fill_s.size()) +
                    " times; expected one for each of the " + std::to_string(parachutes) + " parachutes");
    }

    course->apply(scenario);
    return scenario;
}

FlightSetup make_setup(const Scenario& scenario, std::uint64_t seed) {
    const RocketModel& rocket = *scenario.vehicle.rocket;
    Random random(seed, "dispersion");
    // All draws are made, in one order, used or not, so that one more use does not shift the others.
    const double on = scenario.disperse ? 1.0 : 0.0;
    const auto around_one = [&](double sigma) { return 1.0 + on * sigma * std::clamp(random.normal(), -3.0, 3.0); };
    const auto around_zero = [&](double sigma) { return on * sigma * std::clamp(random.normal(), -3.0, 3.0); };

    Table thrust = table_of(rocket.thrust_n);
    const double burn_factor = around_one(scatter::kBurnTime);
    const double thrust_factor = around_one(scatter::kThrust) / burn_factor;
    for (double& t_s : thrust.x) t_s *= burn_factor;
    for (double& force_n : thrust.y) force_n *= thrust_factor;
    Table drag = table_of(rocket.drag_coefficient);
    const double drag_factor = around_one(scatter::kDrag);
    for (double& cd : drag.y) cd *= drag_factor;
    const double mass_dry_kg = rocket.mass_dry_kg * around_one(scatter::kMass);
    const double tilt_rad = scenario.site.launch_tilt_deg * kDegree_rad + around_zero(scatter::kRailTilt_rad);
    const double azimuth_rad =
        scenario.site.launch_azimuth_deg.value_or(0.0) * kDegree_rad + around_zero(scatter::kRailAzimuth_rad);
    const double offset_rad = around_zero(scatter::kThrustOffset_rad);
    const double wind_factor = around_one(scatter::kWindSpeed);
    const WindTables wind = wind_tables(scenario.site.wind, wind_factor, around_zero(scatter::kWindFrom_rad));

    const double pad_msl_m = scenario.site.pad.height_m - scenario.site.geoid_height_m;
    const AirPoint standard = Air::standard(pad_msl_m).at(0.0);
    const double pressure_pa =
        scenario.site.pad_pressure_pa.value_or(standard.pressure_pa) + around_zero(scatter::kPadPressure_pa);
    const double temperature_k =
        scenario.site.pad_temperature_k.value_or(standard.temperature_k) + around_zero(scatter::kPadTemperature_k);
    const double lapse_k_per_m = -0.0065 + around_zero(scatter::kLapse_k_per_m);

    Airframe airframe = scenario.airframe;
    airframe.roll_cant_m *= around_one(scatter::kCant);
    airframe.static_margin_m *= around_one(scatter::kStaticMargin);

    std::vector<ParachuteTruth> parachutes;
    for (std::size_t i = 0; i < rocket.parachutes.size(); ++i) {
        const Parachute& described = rocket.parachutes[i];
        ParachuteTruth truth{};
        truth.drag_area_m2 = described.drag_area_m2 * around_one(scatter::kParachuteArea);
        truth.at_apogee = !described.opens_below_m;
        truth.height_m = described.opens_below_m.value_or(0.0);
        truth.delay_s = std::max(0.0, described.opens_after_s + around_zero(scatter::kDelay_s));
        if (i == 0) truth.delay_s += scenario.drogue_late_s;
        if (!scenario.charges_fire) truth.delay_s = kNever_s;
        truth.line_stretch_s = airframe.line_stretch_s * around_one(scatter::kFill);
        truth.fill_s = airframe.fill_s[i] * around_one(scatter::kFill);
        parachutes.push_back(truth);
    }

    return FlightSetup{
        .mass_dry_kg = mass_dry_kg,
        .mass_propellant_kg = rocket.mass_propellant_kg,
        .thrust_n = std::move(thrust),
        .reference_area_m2 = rocket.reference_area_m2,
        .drag_coefficient = std::move(drag),
        .thrust_offset_rad = offset_rad,
        .rail_length_m = rocket.rail_length_m,
        .rail_tilt_rad = tilt_rad,
        .rail_azimuth_rad = azimuth_rad,
        .ignition_s = scenario.leaves_rail ? scenario.before_ignition_s : kNever_s,
        .parachutes = std::move(parachutes),
        .airframe = std::move(airframe),
        .air = Air(pad_msl_m, pressure_pa, temperature_k, lapse_k_per_m),
        .gravity = gravity_at_pad(scenario.site.pad.latitude_deg, scenario.site.pad.height_m),
        .wind = Wind(wind.east, wind.north, scenario.airframe.gust_fraction, scenario.airframe.gust_length_m,
                     Random(seed, "gusts")),
        .ejection_random = Random(seed, "ejection"),
    };
}

} // namespace turnstone::sim
