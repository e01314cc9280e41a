#include "server/debrief/response/flight_record.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include <nlohmann/json.hpp>

#include "shared/time.hpp"

namespace turnstone::debrief {

namespace {

constexpr double kNothingKnown = std::numeric_limits<double>::quiet_NaN();
constexpr double kAfterBurnout_s = 0.1; ///< the motor's tail
/// Slower than this part of the greatest dynamic pressure, moments are lost in noise; common practice, no source.
constexpr double kPressurePart = 0.08;
constexpr double kFilledOver_s = 0.1; ///< straight lines are drawn over no longer silences
constexpr double kAirFilledOver_s = 0.5;
/// What the day's wind is off its table, where nothing says; common practice, no source.
constexpr double kWindUnknown_mps = 3;

/// Every value of one column in the window, seconds since `origin_ns`.
RecordedChannel channel_of(const Recorded& recorded, const std::optional<ColumnPlace>& place, Window window,
                           std::int64_t origin_ns) {
    RecordedChannel out;
    if (!place) return out;
    const SeriesBlock block = recorded.rows(*place->table, {place->column}, window);
    for (std::size_t i = 0; i < block.rows; ++i) {
        if (!std::isfinite(block.mean[i])) continue;
        out.t_s.push_back(seconds_between(origin_ns, block.t_ns[i]));
        out.value.push_back(block.mean[i]);
    }
    if (out.value.empty()) return out;
    out.channel = place->table->name + "." + place->about().name;
    out.title = place->about().title;
    out.unit = place->about().unit;
    return out;
}

/// Straight lines between the channel's values at other times; NaN where it was silent.
std::vector<double> at_times(const RecordedChannel& channel, const std::vector<double>& t_s, double silent_s) {
    std::vector<double> out(t_s.size(), kNothingKnown);
    std::size_t upper = 0;
    for (std::size_t i = 0; i < t_s.size(); ++i) {
        while (upper < channel.t_s.size() && channel.t_s[upper] < t_s[i]) ++upper;
        if (upper == channel.t_s.size()) break;
        if (channel.t_s[upper] == t_s[i]) {
            out[i] = channel.value[upper];
            continue;
        }
        if (upper == 0) continue;
        const double before_s = channel.t_s[upper - 1], apart_s = channel.t_s[upper] - before_s;
        if (apart_s > silent_s) continue;
        const double part = (t_s[i] - before_s) / apart_s;
        out[i] = channel.value[upper - 1] + part * (channel.value[upper] - channel.value[upper - 1]);
    }
    return out;
}

/// Velocity of the air over the ground at a height, from the site's table; calm without one.
std::array<double, 2> wind_at(const Site& site, double height_m) {
    std::array<double, 2> out{0, 0};
    const auto& layers = site.wind;
    if (layers.empty()) return out;
    const auto of = [](const WindLayer& layer) {
        const double from_rad = layer.from_deg * std::numbers::pi / 180;
        return std::array{-layer.speed_mps * std::sin(from_rad), -layer.speed_mps * std::cos(from_rad)};
    };
    std::size_t upper = 0;
    while (upper < layers.size() && layers[upper].height_m < height_m) ++upper;
    if (upper == 0) return of(layers.front());
    if (upper == layers.size()) return of(layers.back());
    const auto low = of(layers[upper - 1]), high = of(layers[upper]);
    const double part = (height_m - layers[upper - 1].height_m) / (layers[upper].height_m - layers[upper - 1].height_m);
    for (std::size_t k = 0; k < 2; ++k) out[k] = low[k] + part * (high[k] - low[k]);
    return out;
}

/// Airspeed and dynamic pressure on the record's times: navigation's velocity against the wind of the site file, air
/// data's density; without navigation the vertical filter's speed.
void add_air(const Recorded& recorded, std::size_t vehicle, const Site& site, Window window, std::int64_t origin_ns,
             FlightRecord& out) {
    const auto column = [&](const char* table, const char* name) {
        const auto place = recorded.column(recorded.table(vehicle, table), name);
        return at_times(channel_of(recorded, place, window, origin_ns), out.t_s, kAirFilledOver_s);
    };
    const auto density = column("estimate/air", "density_kg_m3");
    auto up = column("estimate/navigation", "velocity_up_mps");
    auto up_sigma = column("estimate/navigation", "velocity_up_mps_sigma");
    const auto east = column("estimate/navigation", "velocity_east_mps");
    const auto north = column("estimate/navigation", "velocity_north_mps");
    const auto height = column("estimate/air", "altitude_m");
    const bool navigated = std::ranges::any_of(up, [](double v) { return std::isfinite(v); });
    if (!navigated) {
        up = column("estimate/vertical", "vertical_speed_mps");
        up_sigma = column("estimate/vertical", "vertical_speed_mps_sigma");
        out.notes.emplace_back("No navigation estimate: the airspeed is the vertical filter's.");
    }
    if (site.wind.empty())
        out.notes.emplace_back("The site file has no wind: the airspeed is the speed over the ground.");
    // What is found rests on the fast part of the window: weights are the squares of the dynamic pressure.
    double squares = 0, weights = 0;
    for (std::size_t i = 0; i < out.t_s.size(); ++i) {
        const auto wind = wind_at(site, height[i]);
        const double across =
            navigated ? std::hypot(east[i] - wind[0], north[i] - wind[1]) : std::hypot(wind[0], wind[1]);
        const double speed = std::hypot(up[i], across);
        out.airspeed_mps.push_back(speed);
        out.dynamic_pressure_pa.push_back(0.5 * density[i] * speed * speed);
        // Only the wind's part along the path counts to first order, and the part across by its square.
        const double lean = std::min(1.0, across / speed);
        const double wind_sigma = site.wind.empty()
                                      ? kWindUnknown_mps
                                      : std::hypot(site.forecast.wind_speed_mps,
                                                   site.forecast.wind_speed_relative * std::hypot(wind[0], wind[1]));
        const double sigma = std::hypot(up_sigma[i], lean * wind_sigma) / speed;
        const double weight = out.dynamic_pressure_pa[i] * out.dynamic_pressure_pa[i];
        if (!std::isfinite(sigma * weight) || out.t_s[i] < out.burnout_s) continue;
        squares += weight * sigma * sigma;
        weights += weight;
    }
    constexpr double kSpeedSigmaUnknown = 0.05;
    out.speed_sigma = weights > 0 ? std::sqrt(squares / weights) : kSpeedSigmaUnknown;
}

/// Rows between burnout and apogee whose dynamic pressure is known and not too small.
void keep_worth(FlightRecord& out) {
    double most = 0;
    for (const double q : out.dynamic_pressure_pa)
        if (q > most) most = q;
    std::size_t kept = 0;
    const auto columns = [&](auto&& each) {
        each(out.t_s);
        each(out.dynamic_pressure_pa);
        each(out.airspeed_mps);
        for (auto* three : {&out.rate_radps, &out.commanded_rad, &out.measured_rad})
            for (std::vector<double>& one : *three) each(one);
    };
    for (std::size_t i = 0; i < out.t_s.size(); ++i) {
        if (!(out.dynamic_pressure_pa[i] > kPressurePart * most)) continue;
        columns([&](std::vector<double>& column) {
            if (i < column.size()) column[kept] = column[i];
        });
        ++kept;
    }
    columns([&](std::vector<double>& column) { column.resize(std::min(kept, column.size())); });
}

} // namespace

Result<FlightRecord> flight_record(OpenFlight& flight, AskedWindow asked) {
    const Recorded& recorded = flight.recorded();
    const Chapter& chapter = flight.chapter();
    const std::int64_t liftoff_ns = *chapter.liftoff_ns;
    if (!chapter.burnout_ns && std::isnan(asked.from_s))
        return fail("the flight has no burnout to begin at; give \"from_s\", seconds since liftoff");
    if (!chapter.apogee_ns && std::isnan(asked.to_s))
        return fail("the flight has no apogee to end at; give \"to_s\", seconds since liftoff");
    FlightRecord out;
    out.burnout_s =
        std::isnan(asked.from_s) ? seconds_between(liftoff_ns, *chapter.burnout_ns) + kAfterBurnout_s : asked.from_s;
    out.apogee_s = std::isnan(asked.to_s) ? seconds_between(liftoff_ns, *chapter.apogee_ns) : asked.to_s;
    Site site;
    if (auto setup = flight.reader().setup()) {
        site = setup->site;
        const VehicleSetup& vehicle = setup->vehicles.at(chapter.vehicle);
        out.vehicle = vehicle.vehicle;
        // Checked when the setup was read.
        const auto file = nlohmann::json::parse(vehicle.vehicle_json, nullptr, false);
        if (file.contains("rocket")) {
            out.inertia_transverse_kg_m2 = file["rocket"].value("inertia_transverse_kg_m2", analysis::kNone);
            out.normal_force_slope_per_rad = file["rocket"].value("normal_force_slope_per_rad", analysis::kNone);
        }
    } else {
        site = recorded.setup().site;
        out.notes.push_back("The recording's vehicle file cannot be read: sensors count as typical ones.");
    }
    const Window flown{liftoff_ns, liftoff_ns + seconds_to_ns(out.apogee_s)};
    const Window rest{liftoff_ns - seconds_to_ns(12), liftoff_ns - seconds_to_ns(1)};
    constexpr std::array<const char*, 3> kRates{"rate_body_x", "rate_body_y", "rate_body_z"};
    constexpr std::array<const char*, 3> kCommands{"fin_roll_command", "fin_pitch_command", "fin_yaw_command"};
    constexpr std::array<const char*, 3> kFins{"fin_roll", "fin_pitch", "fin_yaw"};
    const auto of_role = [&](const char* role, Window window) {
        return channel_of(recorded, recorded.with_rows(chapter.vehicle, {role}, window, 1), window, liftoff_ns);
    };
    for (std::size_t axis = 0; axis < 3; ++axis) {
        out.rates[axis] = of_role(kRates[axis], flown);
        out.commanded[axis] = of_role(kCommands[axis], flown);
        out.measured[axis] = of_role(kFins[axis], flown);
        const double bias = analysis::summarise(of_role(kRates[axis], rest).value).mean;
        if (std::isfinite(bias)) out.rate_bias_radps[axis] = bias;
    }
    out.shaken = of_role("accel_body_x", flown);
    if (out.rates[0].empty())
        return fail(
            "the vehicle sends no channel with the role rate_body_x in this flight; there is no response to work out");
    for (const double t_s : out.rates[0].t_s)
        if (t_s >= out.burnout_s && t_s < out.apogee_s) out.t_s.push_back(t_s);
    for (std::size_t axis = 0; axis < 3; ++axis) {
        if (out.rates[axis].empty()) continue;
        out.rate_radps[axis] = at_times(out.rates[axis], out.t_s, kFilledOver_s);
        for (double& rate : out.rate_radps[axis]) rate -= out.rate_bias_radps[axis];
        if (!out.commanded[axis].empty())
            out.commanded_rad[axis] = at_times(out.commanded[axis], out.t_s, kFilledOver_s);
        if (!out.measured[axis].empty()) out.measured_rad[axis] = at_times(out.measured[axis], out.t_s, kFilledOver_s);
    }
    add_air(recorded, chapter.vehicle, site, flown, liftoff_ns, out);
    keep_worth(out);
    if (out.t_s.size() < 2)
        return fail("nothing with rates, airspeed and density lies between " + std::to_string(out.burnout_s) + " and " +
                    std::to_string(out.apogee_s) + " s after liftoff");
    return out;
}

} // namespace turnstone::debrief
