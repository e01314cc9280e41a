#include "shared/vehicle.hpp"

#include <algorithm>

#include <nlohmann/json.hpp>

#include "shared/constants.hpp"

namespace turnstone {

namespace {

constexpr std::size_t kCurvePointsMax = 10000;
constexpr std::size_t kParachutesMax = 8;

double interpolate(const Curve& curve, std::size_t upper, double x_value) noexcept {
    const double x0 = curve.x[upper - 1];
    const double x1 = curve.x[upper];
    const double y0 = curve.y[upper - 1];
    return y0 + (curve.y[upper] - y0) * (x_value - x0) / (x1 - x0);
}

/// Trapezoid under the curve from its first point to `x_end`.
double area_until(const Curve& curve, double x_end) noexcept {
    double area = 0;
    for (std::size_t i = 1; i < curve.x.size() && curve.x[i - 1] < x_end; ++i) {
        const double x1 = std::min(curve.x[i], x_end);
        const double y1 = x1 < curve.x[i] ? interpolate(curve, i, x1) : curve.y[i];
        area += 0.5 * (curve.y[i - 1] + y1) * (x1 - curve.x[i - 1]);
    }
    return area;
}

/// Pairs [x, y] with strictly ascending x and both inside their ranges.
Curve read_curve(JsonReader& parent, std::string_view key, double x_max, double y_max, std::size_t min_points) {
    Curve curve;
    for (JsonReader& element : parent.array(key, min_points, kCurvePointsMax)) {
        const std::size_t length = element.is_array() ? element.json().size() : 0;
        const std::vector<double> row = element.as_row(2);
        if (length != 2 || !element.json()[0].is_number() || !element.json()[1].is_number()) continue; // as_row said so
        if (row[0] < 0 || row[0] > x_max) {
            element.problem_at("0", "is " + element.json()[0].dump(),
                               "must be a number from 0 to " + nlohmann::json(x_max).dump());
        }
        if (row[1] < 0 || row[1] > y_max) {
            element.problem_at("1", "is " + element.json()[1].dump(),
                               "must be a number from 0 to " + nlohmann::json(y_max).dump());
        }
        if (!curve.x.empty() && row[0] <= curve.x.back()) {
            element.problem_at("0", "is not above the point before it", "must ascend from point to point");
            continue;
        }
        curve.x.push_back(row[0]);
        curve.y.push_back(row[1]);
    }
    return curve;
}

Parachute read_parachute(JsonReader& in) {
    Parachute out{};
    out.name = in.text("name");
    out.drag_area_m2 = in.number("drag_area_m2", 1e-4, 1e4);
    if (auto opens = in.object("opens")) {
        const bool at_apogee = opens->has("at");
        if (at_apogee == opens->has("below_m"))
            opens->problem(at_apogee ? "has both \"at\" and \"below_m\"" : "does not say where",
                           "must have either \"at\": \"apogee\" or \"below_m\", metres above the pad");
        if (at_apogee) opens->choice("at", {"apogee"});
        opens->ignore("at");
        out.opens_below_m = opens->number_if("below_m", 1, 1e5);
        out.opens_after_s = opens->number_or("after_s", 0, 60, 0.0);
        opens->finish();
    }
    in.finish();
    return out;
}

FlightScatter read_scatter(JsonReader& in) {
    FlightScatter out;
    const auto read = [&in](std::string_view key, double max, double& value) {
        value = in.number_or(key, 0, max, value);
    };
    read("thrust", 0.5, out.thrust);
    read("burn_time", 0.5, out.burn_time);
    read("drag", 0.5, out.drag);
    read("mass_dry", 0.5, out.mass_dry);
    read("parachute_drag_area", 0.5, out.parachute_drag_area);
    read("rail_tilt_rad", 0.5, out.rail_tilt_rad);
    read("rail_azimuth_rad", 3.2, out.rail_azimuth_rad);
    read("opening_delay_s", 10, out.opening_delay_s);
    in.finish();
    return out;
}

FailureProbabilities read_failures(JsonReader& in) {
    FailureProbabilities out;
    double sum = 0.0;
    const auto read = [&](std::string_view key, double& value) {
        value = in.number_or(key, 0, 1, value);
        sum += value;
    };
    read("drogue_fails", out.drogue_fails);
    read("main_fails", out.main_fails);
    read("both_fail", out.both_fail);
    read("main_at_apogee", out.main_at_apogee);
    read("late_opening", out.late_opening);
    if (sum > 1.0) in.problem("adds up to more than 1", "must leave something for a nominal descent");
    in.finish();
    return out;
}

RocketModel read_rocket(JsonReader& in) {
    RocketModel out{};
    out.mass_dry_kg = in.number("mass_dry_kg", 1e-3, 1e6);
    out.mass_propellant_kg = in.number("mass_propellant_kg", 0, 1e6);
    out.thrust_n = read_curve(in, "thrust", 3600, 1e8, 2);
    if (!out.thrust_n.y.empty()) {
        if (out.thrust_n.y.back() != 0)
            in.problem_at("thrust", "does not end at zero thrust", "must end with a point [burn time, 0]");
        if (out.total_impulse_n_s() <= 0)
            in.problem_at("thrust", "has no impulse", "must have thrust above zero somewhere");
    }
    out.body_diameter_m = in.number("body_diameter_m", 1e-3, 100);
    out.length_m = in.number_if("length_m", 0.01, 1000);
    out.static_margin_m = in.number_if("static_margin_m", 1e-3, 100);
    // For the debrief, which takes them from the file's text: nothing in flight rests on them.
    (void)in.number_if("inertia_transverse_kg_m2", 1e-6, 1e7);
    (void)in.number_if("normal_force_slope_per_rad", 1e-3, 1e3);
    out.reference_area_m2 = in.number("reference_area_m2", 1e-6, 1e4);
    out.drag_coefficient = read_curve(in, "drag_coefficient", 100, 100, 1);
    out.rail_length_m = in.number("rail_length_m", 0, 1000);
    for (JsonReader& element : in.array_if("parachutes", kParachutesMax))
        out.parachutes.push_back(read_parachute(element));
    if (auto scatter = in.object_if("scatter")) out.scatter = read_scatter(*scatter);
    if (auto failures = in.object_if("failures")) out.failures = read_failures(*failures);
    in.finish();
    return out;
}

SensorNoise read_sensors(JsonReader& in) {
    SensorNoise out;
    const auto read = [&in](std::string_view key, double min, double max, double& value) {
        value = in.number_or(key, min, max, value);
    };
    read("accel_noise_mps2", 1e-6, 1000, out.accel_noise_mps2);
    read("accel_bias_mps2", 0, 1000, out.accel_bias_mps2);
    read("accel_bias_walk_mps2_rts", 0, 100, out.accel_bias_walk_mps2_rts);
    read("accel_range_mps2", 1, 1e5, out.accel_range_mps2);
    read("accel_scale", 0, 0.5, out.accel_scale);
    read("accel_misalignment_rad", 0, 0.5, out.accel_misalignment_rad);
    read("gyro_noise_radps", 1e-9, 100, out.gyro_noise_radps);
    read("gyro_bias_radps", 0, 100, out.gyro_bias_radps);
    read("gyro_bias_walk_radps_rts", 0, 100, out.gyro_bias_walk_radps_rts);
    read("gyro_range_radps", 0.01, 1e4, out.gyro_range_radps);
    read("gyro_scale", 0, 0.5, out.gyro_scale);
    read("gyro_misalignment_rad", 0, 0.5, out.gyro_misalignment_rad);
    constexpr auto kTimes = kWords<SampleTime>;
    out.imu_sample_time = static_cast<SampleTime>(
        in.choice_or("imu_sample_time", {kTimes.begin(), kTimes.end()}, static_cast<std::size_t>(out.imu_sample_time)));
    read("imu_group_delay_s", 0, 1, out.imu_group_delay_s);
    read("pressure_noise_pa", 1e-3, 1e5, out.pressure_noise_pa);
    read("pressure_bias_pa", 0, 1e5, out.pressure_bias_pa);
    read("pressure_delay_s", 0, 5, out.pressure_delay_s);
    read("pressure_delay_sigma_s", 0, 5, out.pressure_delay_sigma_s);
    read("port_coefficient_sigma", 0, 1, out.port_coefficient_sigma);
    read("pad_datum_sigma_m", 0, 1000, out.pad_datum_sigma_m);
    read("fix_horizontal_m", 1e-4, 1e4, out.fix_horizontal_m);
    read("fix_vertical_m", 1e-4, 1e4, out.fix_vertical_m);
    read("fix_speed_mps", 1e-4, 1e3, out.fix_speed_mps);
    read("fix_correlation_s", 0.1, 1e5, out.fix_correlation_s);
    read("fix_correlated_share", 0, 1, out.fix_correlated_share);
    read("fix_delay_s", 0, 10, out.fix_delay_s);
    read("fix_delay_sigma_s", 0, 10, out.fix_delay_sigma_s);
    read("mag_noise_ut", 1e-6, 1000, out.mag_noise_ut);
    in.finish();
    return out;
}

} // namespace

double Curve::at(double x_value) const noexcept {
    if (x.empty() || x_value != x_value) return kNaN;
    const auto upper = std::upper_bound(x.begin(), x.end(), x_value);
    if (upper == x.begin()) return y.front();
    if (upper == x.end()) return y.back();
    return interpolate(*this, static_cast<std::size_t>(upper - x.begin()), x_value);
}

double RocketModel::total_impulse_n_s() const noexcept {
    return area_until(thrust_n, burn_time_s());
}

double RocketModel::burn_time_s() const noexcept {
    return thrust_n.x.empty() ? 0.0 : thrust_n.x.back();
}

double RocketModel::mass_kg(double seconds_since_ignition) const noexcept {
    const double total_n_s = total_impulse_n_s();
    const double burnt = total_n_s > 0 ? area_until(thrust_n, seconds_since_ignition) / total_n_s : 0.0;
    return mass_dry_kg + mass_propellant_kg * (1.0 - burnt);
}

double RocketModel::most_thrust_mps2() const noexcept {
    double most_mps2 = 0.0;
    for (std::size_t k = 0; k < thrust_n.x.size(); ++k)
        most_mps2 = std::max(most_mps2, thrust_n.y[k] / mass_kg(thrust_n.x[k]));
    return most_mps2;
}

Vehicle read_vehicle(const nlohmann::json& json, const std::string& file, std::vector<Problem>& problems) {
    JsonReader in(json, file, problems);
    Vehicle out;
    in.ignore("$schema");
    out.name = in.text("name");
    if (auto rocket = in.object_if("rocket")) out.rocket = read_rocket(*rocket);
    if (auto sensors = in.object_if("sensors")) out.sensors = read_sensors(*sensors);
    out.engine_running_threshold_rpm =
        in.number_or("engine_running_threshold_rpm", 1, 1e5, out.engine_running_threshold_rpm);
    in.finish();
    return out;
}

} // namespace turnstone
