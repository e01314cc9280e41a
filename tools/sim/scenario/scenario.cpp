#include "tools/sim/scenario/scenario.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <type_traits>

#include <nlohmann/json.hpp>

namespace turnstone::sim {

namespace {

constexpr double kDegree_rad = std::numbers::pi / 180.0;

Table table_of(const Curve& curve) {
    return {curve.x, curve.y};
}

struct WindTables {
    Table east;
    Table north;
};

/// Wind given as "from" direction becomes the velocity of the air, linear by components between heights.
/// `added_mps`: components for each layer. `turn_per_km` turns it further with height.
WindTables wind_tables(const std::vector<WindLayer>& layers, double factor, double turn_rad, double turn_per_km_rad,
                       const std::vector<Eigen::Vector2d>& added_mps) {
    WindTables tables;
    for (std::size_t i = 0; i < layers.size(); ++i) {
        const WindLayer& layer = layers[i];
        const double from_rad = layer.from_deg * kDegree_rad + turn_rad + turn_per_km_rad * layer.height_m / 1000.0;
        tables.east.x.push_back(layer.height_m);
        tables.east.y.push_back(-factor * layer.speed_mps * std::sin(from_rad) + added_mps[i].x());
        tables.north.x.push_back(layer.height_m);
        tables.north.y.push_back(-factor * layer.speed_mps * std::cos(from_rad) + added_mps[i].y());
    }
    return tables;
}

/// What the forecast missed at each layer: components of one size, alike at neighbouring heights.
std::vector<Eigen::Vector2d> missed_wind(const std::vector<WindLayer>& layers, double sigma_mps, Shape shape,
                                         Random random) {
    std::vector<Eigen::Vector2d> out;
    for (const WindLayer& layer : layers) {
        const double like = out.empty() ? 0.0 : std::exp(-(layer.height_m - layers[out.size() - 1].height_m) / 500.0);
        const double east = draw(random, shape), north = draw(random, shape);
        const Eigen::Vector2d before = out.empty() ? Eigen::Vector2d::Zero() : out.back();
        out.push_back(like * before + std::sqrt(1.0 - like * like) * sigma_mps * Eigen::Vector2d(east, north));
    }
    return out;
}

/// The thrust curve with more of its impulse at the start (tilt above zero), its impulse unchanged.
void tilt_thrust(Table& thrust, double tilt) {
    const double before_n_s = thrust.integral();
    for (std::size_t i = 0; i < thrust.x.size(); ++i)
        thrust.y[i] *= 1.0 + tilt * (1.0 - 2.0 * thrust.x[i] / thrust.x.back());
    const double factor = before_n_s / thrust.integral();
    for (double& force_n : thrust.y) force_n *= factor;
}

void tethered(Scenario& scenario) {
    scenario.kind = RunKind::tethered;
}

template <auto fault>
void tethered_with(Scenario& scenario) {
    tethered(scenario);
    if constexpr (std::is_same_v<decltype(fault), ChargeFault>)
        scenario.charge_fault = fault;
    else if constexpr (std::is_same_v<decltype(fault), InertialFault>)
        scenario.inertial_at_ejection = fault;
    else
        scenario.barometer_at_ejection = fault;
}

struct NamedScenario {
    ScenarioName about;
    void (*apply)(Scenario& scenario);
};

constexpr std::array kCourses = {
    NamedScenario{{"nominal", "Everything works: drogue at apogee, main at its height, touchdown"}, [](Scenario&) {}},
    NamedScenario{{"late-drogue", "The drogue charge fires 6 s late, in a dive"},
                  [](Scenario& scenario) { scenario.drogue_late_s = 6.0; }},
    NamedScenario{{"ballistic", "No charge fires; the vehicle comes down nose first and telemetry ends at impact"},
                  [](Scenario& scenario) { scenario.charges_fire = false; }},
    NamedScenario{{"reboot-at-ejection", "The battery sags at the drogue charge and the flight computer reboots"},
                  [](Scenario& scenario) { scenario.reboots_at_ejection = true; }},
    NamedScenario{{"gnss-loss", "The GNSS receiver loses its fix at liftoff and finds it again only after touchdown"},
                  [](Scenario& scenario) { scenario.gnss_lost_at_liftoff = true; }},
    NamedScenario{{"barometer-failure", "The drogue charge's pressure pulse kills the barometer"},
                  [](Scenario& scenario) { scenario.barometer_at_ejection = BarometerFault::stuck; }},
    NamedScenario{{"separation-test", "Tethered ground test: both charges fire with the vehicle lying on a stand"},
                  tethered},
    NamedScenario{{"charge-does-not-light", "Separation test: the igniter fires, the drogue charge does not"},
                  tethered_with<ChargeFault::does_not_light>},
    NamedScenario{{"charge-lights-late", "Separation test: the drogue charge lights 70 ms after its igniter"},
                  tethered_with<ChargeFault::lights_late>},
    NamedScenario{{"nose-stuck", "Separation test: the lid stays on"}, tethered_with<ChargeFault::lid_stuck>},
    NamedScenario{{"hard-shock", "Separation test: a shock beyond the accelerometer's range"},
                  tethered_with<ChargeFault::hard>},
    NamedScenario{{"parachute-not-out", "Separation test: the lid comes off, the line never pulls"},
                  tethered_with<ChargeFault::no_parachute>},
    NamedScenario{{"line-snag", "Separation test: the line catches and turns the payload over"},
                  tethered_with<ChargeFault::line_snags>},
    NamedScenario{{"weak-battery", "Separation test: the battery sags deep and recovers slowly"},
                  tethered_with<ChargeFault::weak_battery>},
    NamedScenario{{"brown-out", "Separation test: the supply collapses and the electronics are dark for 0.4 s"},
                  tethered_with<ChargeFault::brown_out>},
    NamedScenario{{"reboot-on-the-stand", "Separation test: the flight computer reboots as the drogue charge fires"},
                  [](Scenario& scenario) {
                      tethered(scenario);
                      scenario.reboots_at_ejection = true;
                  }},
    NamedScenario{{"gap-at-the-charge", "Separation test: the radio is silent as the drogue charge fires"},
                  [](Scenario& scenario) {
                      tethered(scenario);
                      scenario.gap_at_ejection = true;
                  }},
    NamedScenario{{"barometer-dead", "Separation test: the barometer reads zero afterwards"},
                  tethered_with<BarometerFault::dead>},
    NamedScenario{{"barometer-stuck", "Separation test: the barometer is stuck afterwards"},
                  tethered_with<BarometerFault::stuck>},
    NamedScenario{{"barometer-offset", "Separation test: the barometer reads 250 Pa more afterwards"},
                  tethered_with<BarometerFault::offset>},
    NamedScenario{{"barometer-noisy", "Separation test: the barometer has six times the noise afterwards"},
                  tethered_with<BarometerFault::noisy>},
    NamedScenario{{"gyro-dead", "Separation test: the gyro reads zero afterwards"},
                  tethered_with<InertialFault::gyro_dead>},
    NamedScenario{{"inertial-noisy", "Separation test: accelerometer and gyro have four times the noise afterwards"},
                  tethered_with<InertialFault::noisy>},
    NamedScenario{{"accelerometer-inverted", "Separation test: the accelerometer reads with the other sign afterwards"},
                  tethered_with<InertialFault::accel_inverted>},
    NamedScenario{
        {"accelerometer-offset", "Separation test: the accelerometer reads 2.5 m/s2 more across gravity afterwards"},
        tethered_with<InertialFault::accel_offset>},
    NamedScenario{{"accelerometer-dead", "Separation test: the accelerometer reads zero afterwards, the gyro works"},
                  tethered_with<InertialFault::accel_dead>},
    NamedScenario{{"inertial-stuck", "Separation test: accelerometer and gyro repeat their last readings afterwards"},
                  tethered_with<InertialFault::stuck>},
    NamedScenario{{"on-the-rail", "Upright on the rail, nothing happens"},
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
    for (const NamedScenario& course : kCourses) names.push_back(course.about);
    return names;
}

Result<Scenario> make_scenario(std::string_view name, const std::filesystem::path& vehicle_dir,
                               const std::filesystem::path& site_file) {
    const auto course = std::find_if(kCourses.begin(), kCourses.end(),
                                     [&](const NamedScenario& known) { return known.about.name == name; });
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

Steering logging_flight(double burn_s) {
    constexpr double kRoll_rad = 3.0 * kDegree_rad, kPitch_rad = 2.0 * kDegree_rad;
    Steering out;
    double at_s = burn_s + 0.4;
    const auto doublet = [&](Eigen::Index axis, double half_s, double deflection_rad) {
        out.pulses.push_back({at_s, half_s, axis, deflection_rad});
        out.pulses.push_back({at_s + half_s, half_s, axis, -deflection_rad});
        at_s += 2.0 * half_s + 0.25;
    };
    for (const double half_s : {0.3, 0.2, 0.12}) doublet(0, half_s, kRoll_rad);
    doublet(1, 0.15, kPitch_rad);
    at_s += 0.3;
    doublet(2, 0.15, kPitch_rad);
    at_s += 0.3;
    out.pulses.push_back({at_s, 1.2, 0, 0.5 * kRoll_rad});
    at_s += 1.6;
    doublet(0, 0.35, kRoll_rad);
    return out;
}

FlightSetup make_setup(const Scenario& scenario, std::uint64_t seed) {
    const RocketModel& rocket = *scenario.vehicle.rocket;
    const FlightErrors& errors = scenario.errors.flight;
    Random random(seed, "dispersion");
    Random more(seed, "dispersion of shapes"); // a stream of its own, so that sets without it keep their flights
    // All draws are made, in one order, used or not, so that one more use does not shift the others.
    const double on = scenario.disperse ? 1.0 : 0.0;
    const auto around_zero = [&](double sigma) { return on * sigma * draw(random, scenario.errors.shape); };
    const auto around_one = [&](double sigma) { return 1.0 + around_zero(sigma); };
    const auto shape_error = [&](double sigma) { return on * sigma * draw(more, scenario.errors.shape); };

    Table thrust = table_of(rocket.thrust_n);
    const double burn_factor = around_one(errors.burn_time);
    const double thrust_factor = around_one(errors.thrust) / burn_factor;
    for (double& t_s : thrust.x) t_s *= burn_factor;
    for (double& force_n : thrust.y) force_n *= thrust_factor;
    tilt_thrust(thrust, shape_error(errors.thrust_tilt));
    Table drag = table_of(rocket.drag_coefficient);
    const double drag_factor = around_one(errors.drag);
    for (double& cd : drag.y) cd *= drag_factor;
    const double mass_dry_kg = rocket.mass_dry_kg * around_one(errors.mass);
    const double tilt_rad = scenario.site.launch_tilt_deg * kDegree_rad + around_zero(errors.rail_tilt_rad);
    const double azimuth_rad =
        scenario.site.launch_azimuth_deg.value_or(0.0) * kDegree_rad + around_zero(errors.rail_azimuth_rad);
    const double offset_rad = around_zero(errors.thrust_offset_rad);
    const double wind_factor = std::max(0.0, around_one(errors.wind_speed));
    const WindTables wind = wind_tables(scenario.site.wind, wind_factor, around_zero(errors.wind_from_rad),
                                        shape_error(errors.wind_turn_rad_per_km),
                                        missed_wind(scenario.site.wind, on * errors.wind_speed_mps,
                                                    scenario.errors.shape, Random(seed, "missed wind")));

    const double pad_msl_m = scenario.site.pad.height_m - scenario.site.geoid_height_m;
    const AirPoint standard = Air::standard(pad_msl_m).at(0.0);
    const double pressure_pa =
        scenario.site.pad_pressure_pa.value_or(standard.pressure_pa) + around_zero(errors.pad_pressure_pa);
    const double temperature_k =
        scenario.site.pad_temperature_k.value_or(standard.temperature_k) + around_zero(errors.pad_temperature_k);
    const double lapse_k_per_m = -0.0065 + around_zero(errors.lapse_k_per_m);

    Airframe airframe = scenario.airframe;
    airframe.roll_cant_m = airframe.roll_cant_m * around_one(errors.cant) + shape_error(errors.cant_m);
    airframe.static_margin_m *= around_one(errors.static_margin);
    if (scenario.spin_hz > 0.0) {
        // Fins drive it until damping balances them: rate = cant / roll damping * speed.
        const double fastest_mps = thrust.integral() / (mass_dry_kg + 0.5 * rocket.mass_propellant_kg);
        airframe.roll_cant_m = 2.0 * std::numbers::pi * scenario.spin_hz * airframe.roll_damping_m2 / fastest_mps;
    }

    // A hand does not keep step with the sensors.
    const double ignition_s =
        scenario.before_ignition_s + (scenario.disperse ? Random(seed, "ignition").uniform() : 0.0);

    std::optional<FinDrive> fins;
    if (scenario.steering && airframe.fins) {
        Random finding(seed, "fins");
        fins = airframe.fins;
        const FinErrors& wrong = scenario.errors.fins;
        const auto around = [&](double sigma) {
            return std::max(0.2, 1.0 + on * sigma * draw(finding, scenario.errors.shape));
        };
        fins->roll_effect_m *= around(wrong.effect);
        fins->pitch_effect_m *= around(wrong.effect);
        airframe.roll_damping_m2 *= around(wrong.damping);
    }

    std::vector<ParachuteTruth> parachutes;
    for (std::size_t i = 0; i < rocket.parachutes.size(); ++i) {
        const Parachute& described = rocket.parachutes[i];
        ParachuteTruth truth{};
        truth.drag_area_m2 = described.drag_area_m2 * around_one(errors.parachute_area);
        truth.at_apogee = !described.opens_below_m;
        truth.height_m = described.opens_below_m.value_or(0.0);
        truth.delay_s = std::max(0.0, described.opens_after_s + around_zero(errors.delay_s));
        if (i == 0) truth.delay_s += scenario.drogue_late_s;
        if (!scenario.charges_fire) truth.delay_s = kNever_s;
        truth.line_stretch_s = airframe.line_stretch_s * around_one(errors.fill);
        truth.fill_s = airframe.fill_s[i] * around_one(errors.fill);
        parachutes.push_back(truth);
    }

    return FlightSetup{
        .mass_dry_kg = mass_dry_kg,
        .mass_propellant_kg = rocket.mass_propellant_kg,
        .thrust_n = std::move(thrust),
        .reference_area_m2 = rocket.reference_area_m2,
        .drag_coefficient = std::move(drag),
        .drag_power_on = errors.drag_power_on,
        .thrust_offset_rad = offset_rad,
        .rail_length_m = rocket.rail_length_m,
        .rail_tilt_rad = tilt_rad,
        .rail_azimuth_rad = azimuth_rad,
        .ignition_s = scenario.leaves_rail ? ignition_s : kNever_s,
        .parachutes = std::move(parachutes),
        .airframe = std::move(airframe),
        .air = Air(pad_msl_m, pressure_pa, temperature_k, lapse_k_per_m),
        .gravity = gravity_at_pad(scenario.site.pad.latitude_deg, scenario.site.pad.height_m),
        .wind = Wind(wind.east, wind.north, errors.gustiness, Random(seed, "gusts")),
        .ejection_random = Random(seed, "ejection"),
        .charge_fault = scenario.charge_fault,
        .fins = fins,
    };
}

} // namespace turnstone::sim
