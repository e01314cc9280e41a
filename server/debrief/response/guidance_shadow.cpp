#include "server/debrief/response/guidance_shadow.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "server/analysis/identify/actuator.hpp"
#include "server/debrief/response/control_response.hpp"

namespace turnstone::debrief {

namespace {

using analysis::FlightPlant;
using analysis::ShadowRecord;
using nlohmann::json;

constexpr std::size_t kSeedsDefault = 100, kSeedsMax = 1000;
constexpr std::size_t kPressures = 6; ///< margins are given at

/// Where a shadow's result ends, for whoever reads it.
constexpr std::array<const char*, 5> kLimits{
    "A shadow is not a clearance to steer. Nothing here is sent to a vehicle, and this station cannot send.",
    "Margins hold for the plant of this flight: one axis, small angles, the dynamic pressures flown. Bending, flutter, "
    "fin "
    "stall and coupled axes are not in it.",
    "The recorded motion does not answer the shadow's commands; only the closed loop below does, in the identified "
    "plant.",
    "Whether a vehicle may steer at all is a matter of its licence, its range and the range safety officer.",
    "Fly a law first with little authority, well inside these margins, and look at that flight before the next."};

/// The record without its holes.
struct Whole {
    std::vector<double> t_s, rate, q_pa, speed_mps;

    Whole(const FlightRecord& record, std::size_t axis) {
        for (std::size_t i = 0; i < record.t_s.size(); ++i) {
            const double rate_radps = i < record.rate_radps[axis].size() ? record.rate_radps[axis][i] : analysis::kNone;
            if (!std::isfinite(rate_radps + record.dynamic_pressure_pa[i] + record.airspeed_mps[i])) continue;
            t_s.push_back(record.t_s[i]);
            rate.push_back(rate_radps);
            q_pa.push_back(record.dynamic_pressure_pa[i]);
            speed_mps.push_back(record.airspeed_mps[i]);
        }
    }
    [[nodiscard]] ShadowRecord record() const { return {t_s, rate, q_pa, speed_mps}; }
};

/// The identified plant of the law's axis; the reason when there is none.
struct Identified {
    FlightPlant plant{};
    bool known = false;
    std::string why;
    double noise_radps = 0;
};

Identified identified_plant(const FlightRecord& record, std::size_t axis, const std::function<bool(double)>& go_on) {
    Identified out;
    constexpr double kQuantile95 = 1.96;
    const auto sigma = [&](const analysis::Interval& interval) {
        return (interval.high - interval.low) / (2 * kQuantile95);
    };
    const auto with_drive = [&] {
        if (record.commanded[axis].empty() || record.measured[axis].empty()) return;
        const analysis::Actuator drive = analysis::identify_actuator(
            analysis::even_runs(std::array{analysis::Series{record.t_s, record.commanded_rad[axis]},
                                           analysis::Series{record.t_s, record.measured_rad[axis]}}));
        if (std::isfinite(drive.lag_s)) out.plant.drive_lag_s = drive.lag_s;
        if (std::isfinite(drive.delay_s)) out.plant.drive_delay_s = drive.delay_s;
        out.plant.drive_rate_radps = drive.rate_limit_radps;
    };
    out.noise_radps = record.vehicle.sensors.gyro_noise_radps;
    if (axis != 0) {
        const analysis::SwingDynamics both =
            analysis::identify_swing(swing_record(record), roll_scales(record).dynamic_pressure, go_on);
        const analysis::Swing& swing = axis == 1 ? both.pitch : both.yaw;
        out.known = swing.verdict.identifiable && std::isfinite(swing.fin_effect_per_s2);
        out.why = swing.verdict.identifiable ? "the fins of this axis did not move" : swing.verdict.why;
        if (!out.known) return out;
        const double natural_radps = 2 * std::numbers::pi * swing.natural_hz;
        out.plant = {.damping_per_s = -2 * swing.damping * natural_radps,
                     .damping_sigma = 2 * natural_radps * sigma(swing.damping_interval),
                     .effect_per_s2 = swing.fin_effect_per_s2,
                     .effect_sigma = sigma(swing.fin_effect_interval),
                     .offset_radps2 = 0,
                     .stiffness_per_s2 = natural_radps * natural_radps,
                     .reference_q_pa = both.reference_q_pa,
                     .reference_speed_mps = both.reference_speed_mps};
        with_drive();
        return out;
    }
    const analysis::RollDynamics roll = analysis::identify_roll(roll_record(record), roll_scales(record));
    out.why = roll.verdict.why;
    out.known = roll.verdict.identifiable;
    if (!out.known) return out;
    out.plant = {.damping_per_s = roll.lp_per_s,
                 .damping_sigma = sigma(roll.lp_interval),
                 .effect_per_s2 = roll.ld_per_s2,
                 .effect_sigma = sigma(roll.ld_interval),
                 .offset_radps2 = roll.l0_radps2,
                 .reference_q_pa = roll.reference_q_pa,
                 .reference_speed_mps = roll.reference_speed_mps};
    with_drive();
    return out;
}

json margins_json(const analysis::Law& law, const FlightPlant& plant, const Whole& whole, double sensor_delay_s) {
    json out = json::array();
    const auto [low, high] = std::ranges::minmax(whole.q_pa);
    const double from_pa = std::max(low, law.least_q_pa);
    for (std::size_t i = 0; i < kPressures; ++i) {
        const double q_pa = from_pa + (high - from_pa) * static_cast<double>(i) / static_cast<double>(kPressures - 1);
        if (!(q_pa <= high)) break;
        const auto nearest = std::ranges::min_element(whole.q_pa, {}, [&](double q) { return std::abs(q - q_pa); });
        const double speed_mps = whole.speed_mps[static_cast<std::size_t>(nearest - whole.q_pa.begin())];
        const analysis::Margins margins = analysis::margins_at(law, plant, q_pa, speed_mps, sensor_delay_s);
        out.push_back(
            {{"q_pa", q_pa},
             {"stable", margins.stable},
             {"gain_db", margins.stable ? number_json(margins.gain_db()) : json(nullptr)},
             {"phase_deg", margins.stable ? number_json(margins.phase_rad * 180 / std::numbers::pi) : json(nullptr)},
             {"delay_s", number_json(margins.delay_s)},
             {"sensitivity", margins.stable ? number_json(margins.sensitivity) : json(nullptr)}});
    }
    return out;
}

json quantiles_json(const std::vector<analysis::Quantiles>& all) {
    json out = json::array();
    for (const analysis::Quantiles& one : all)
        out.push_back({{"what", one.what},
                       {"title", one.title},
                       {"unit", one.unit},
                       {"q05", number_json(one.q05)},
                       {"q50", number_json(one.q50)},
                       {"q95", number_json(one.q95)}});
    return out;
}

} // namespace

Result<json> guidance_shadow(const Recordings& recordings, const json& request, const Advance& advance) {
    std::vector<Problem> problems;
    JsonReader reader(request, "shadow", problems);
    const std::string id = reader.text("flight");
    const auto seeds =
        static_cast<std::size_t>(reader.integer_or("seeds", 1, static_cast<std::int64_t>(kSeedsMax), kSeedsDefault));
    analysis::Law law;
    if (auto object = reader.object("law")) law = analysis::read_law(object->json(), "law", problems);
    reader.finish();
    if (!problems.empty()) return fail(to_string(problems));
    auto flight = open_flight(recordings, id);
    if (!flight) return tl::unexpected(flight.error());
    if (!advance(0.05)) return stopped();
    auto record = flight_record(**flight, {analysis::kNone, analysis::kNone});
    if (!record) return tl::unexpected(record.error());
    const Whole whole(*record, law.axis());
    if (whole.t_s.size() < 2)
        return fail(
            "the flight has no rates of the law's axis with a known dynamic pressure; the law has nothing to act on");
    if (!advance(0.1)) return stopped();

    const analysis::ShadowRun run = analysis::run_shadow(law, whole.record());
    const double sensor_delay_s = record->vehicle.sensors.imu_group_delay_s;
    const Identified found =
        identified_plant(*record, law.axis(), [&](double part) { return advance(0.1 + 0.3 * part); });
    if (!advance(0.4)) return stopped();
    json margins = json::array(), sensitivity = json::array(), closed = nullptr;
    std::vector<std::string> notes = record->notes;
    if (found.known) {
        margins = margins_json(law, found.plant, whole, sensor_delay_s);
        const analysis::SensorModel sensor{found.noise_radps, std::max(sensor_delay_s, 0.005)};
        const analysis::ClosedLoop flown = analysis::fly_closed(law, found.plant, sensor, whole.record(), 0);
        closed = {{"t_s", flown.t_s},
                  {"state", flown.state},
                  {"fin_rad", flown.fin_rad},
                  {"error_rms", number_json(flown.error_rms)},
                  {"saturated_share", number_json(flown.saturated_share)}};
        bool stop = false;
        const auto all = analysis::sensitivity(law, found.plant, sensor, whole.record(), seeds, [&](double part) {
            stop = !advance(0.4 + 0.6 * part);
            return !stop;
        });
        if (stop) return stopped();
        sensitivity = quantiles_json(all);
    } else {
        notes.push_back("No margins and no closed loop: " + found.why + ".");
    }
    for (const char* limit : kLimits) notes.emplace_back(limit);
    return json{{"t_s", run.t_s},
                {"state", run.state},
                {"state_name", std::string(word(law.state))},
                {"q_pa", whole.q_pa},
                {"command_rad", run.wished_rad},
                {"limited_rad", run.limited_rad},
                {"saturated_share", number_json(run.saturated_share)},
                {"rate_used_share", number_json(run.rate_used_share)},
                {"fastest_radps", number_json(run.fastest_radps)},
                {"margins", std::move(margins)},
                {"closed_loop", std::move(closed)},
                {"sensitivity", std::move(sensitivity)},
                {"notes", std::move(notes)}};
}

} // namespace turnstone::debrief
