#include "server/debrief/response/control_response.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "server/analysis/identify/actuator.hpp"
#include "server/analysis/signal/even_runs.hpp"
#include "server/analysis/signal/spectra.hpp"
#include "server/analysis/signal/step_figures.hpp"
#include "shared/json_reader.hpp"

namespace turnstone::debrief {

namespace {

using analysis::EvenRuns;
using analysis::Series;
using nlohmann::json;

constexpr double kDegree = 180 / std::numbers::pi;
constexpr double kDensitySigma = 0.005; ///< of the air, relative: 1.2 K and 80 Pa at the pad
constexpr double kStepLeast_rad = 0.01, kStepRise_s = 0.1, kStepRest_s = 0.3;
constexpr double kStepGap_s = 0.1; ///< a lost packet or two: steps are sought on both sides as one
constexpr std::array<const char*, 3> kAxes{"roll", "pitch", "yaw"};
constexpr std::size_t kCourseMost = 2000; ///< moments; a page is about as wide

json channel_json(const RecordedChannel& channel) {
    return {{"channel", channel.channel}, {"title", channel.title}, {"unit", channel.unit}};
}

json numbers_json(const std::vector<double>& values) {
    json out = json::array();
    for (const double value : values) out.push_back(number_json(value));
    return out;
}

/// The part of a channel between burnout and apogee.
Series within(const RecordedChannel& channel, const FlightRecord& record) {
    const auto from =
        static_cast<std::size_t>(std::ranges::lower_bound(channel.t_s, record.burnout_s) - channel.t_s.begin());
    const auto to =
        static_cast<std::size_t>(std::ranges::lower_bound(channel.t_s, record.apogee_s) - channel.t_s.begin());
    return {std::span(channel.t_s).subspan(from, to - from), std::span(channel.value).subspan(from, to - from)};
}

std::size_t longest(const EvenRuns& runs) {
    std::size_t most = 0;
    for (const analysis::Run& run : runs.runs) most = std::max(most, run.channels[0].size());
    return most;
}

json spectrum_json(const RecordedChannel& channel, const FlightRecord& record) {
    const EvenRuns runs = analysis::even_runs(std::array{within(channel, record)});
    std::vector<std::span<const double>> values;
    for (const analysis::Run& run : runs.runs) values.emplace_back(run.channels[0]);
    const analysis::WelchPlan plan = analysis::plan_for(longest(runs));
    const analysis::Density found =
        plan.length > 0 ? analysis::density(values, 1 / runs.period_s, plan) : analysis::Density{};
    json low = json::array(), high = json::array();
    for (const double value : found.value) {
        const analysis::Interval interval = analysis::density_interval(value, found.averages);
        low.push_back(number_json(interval.low));
        high.push_back(number_json(interval.high));
    }
    json out = channel_json(channel);
    out["f_hz"] = found.f_hz;
    out["density"] = found.value;
    out["interval"] = {std::move(low), std::move(high)};
    out["averages"] = found.averages;
    out["gaps"] = runs.gaps;
    out["missing_share"] = number_json(runs.missing_share);
    return out;
}

json response_json(const RecordedChannel& from, const RecordedChannel& to, const FlightRecord& record) {
    const EvenRuns runs = analysis::even_runs(std::array{within(from, record), within(to, record)});
    std::vector<analysis::RunPair> pairs;
    for (const analysis::Run& run : runs.runs) pairs.push_back({run.channels[0], run.channels[1]});
    const analysis::WelchPlan plan = analysis::plan_for(longest(runs), 6);
    json out{{"from", from.channel},
             {"to", to.channel},
             {"from_title", from.title},
             {"to_title", to.title},
             {"unit", to.unit + "/" + from.unit}};
    std::vector<double> f_hz, gain, phase, coherence, gain_low, gain_high, phase_low, phase_high;
    json significant = json::array();
    if (plan.length > 0) {
        const analysis::Spectra spectra = analysis::cross_spectra(pairs, 1 / runs.period_s, plan);
        for (const analysis::ResponsePoint& point : analysis::frequency_response(spectra)) {
            if (point.f_hz <= 0 || point.f_hz > runs.highest_hz) continue;
            f_hz.push_back(point.f_hz);
            gain.push_back(point.gain);
            phase.push_back(kDegree * point.phase_rad);
            coherence.push_back(point.coherence);
            significant.push_back(point.significant);
            gain_low.push_back(point.gain_interval.low);
            gain_high.push_back(point.gain_interval.high);
            phase_low.push_back(kDegree * point.phase_interval_rad.low);
            phase_high.push_back(kDegree * point.phase_interval_rad.high);
        }
        out["averages"] = spectra.averages;
    }
    out["f_hz"] = f_hz;
    out["gain"] = numbers_json(gain);
    out["phase_deg"] = numbers_json(phase);
    out["coherence"] = numbers_json(coherence);
    out["significant"] = std::move(significant);
    out["gain_interval"] = {numbers_json(gain_low), numbers_json(gain_high)};
    out["phase_interval"] = {numbers_json(phase_low), numbers_json(phase_high)};
    return out;
}

/// Of what was recorded without a silence that hides a rise: how the roll rate followed each step, while it rested.
void add_steps(const std::vector<double>& t_s, const std::vector<double>& fin_rad, const std::vector<double>& rate,
               json& out) {
    for (const analysis::Step& step : analysis::find_steps(t_s, fin_rad, kStepLeast_rad, kStepRise_s, kStepRest_s)) {
        const std::size_t count = step.until + 1 - step.at;
        const std::size_t last = std::max<std::size_t>(1, count / 6);
        const std::size_t first = step.at >= 10 ? step.at - 10 : 0;
        const double before = analysis::summarise(std::span(rate).subspan(first, step.at + 1 - first)).mean;
        const double after = analysis::summarise(std::span(rate).subspan(step.until + 1 - last, last)).mean;
        const analysis::StepFigures found = analysis::step_figures(
            std::span(t_s).subspan(step.at, count), std::span(rate).subspan(step.at, count), before, after);
        out.push_back({{"t_s", t_s[step.at]},
                       {"from_rad", step.before},
                       {"to_rad", step.after},
                       {"rate_before_radps", number_json(before)},
                       {"rate_after_radps", number_json(after)},
                       {"rise_s", number_json(found.rise_s)},
                       {"overshoot", number_json(found.overshoot)},
                       {"settling_s", number_json(found.settling_2_s)},
                       {"settling_5_s", number_json(found.settling_5_s)}});
    }
}

json steps_json(const FlightRecord& record) {
    json out = json::array();
    if (!record.has_fins(0)) return out;
    const std::vector<double>& fin = record.commanded[0].empty() ? record.measured_rad[0] : record.commanded_rad[0];
    std::vector<double> t_s, fin_rad, rate;
    const auto end_run = [&] {
        add_steps(t_s, fin_rad, rate, out);
        for (auto* each : {&t_s, &fin_rad, &rate}) each->clear();
    };
    for (std::size_t i = 0; i < record.t_s.size(); ++i) {
        if (!std::isfinite(fin[i]) || !std::isfinite(record.rate_radps[0][i])) continue;
        if (!t_s.empty() && record.t_s[i] - t_s.back() > kStepGap_s) end_run();
        t_s.push_back(record.t_s[i]);
        fin_rad.push_back(fin[i]);
        rate.push_back(record.rate_radps[0][i]);
    }
    end_run();
    return out;
}

json roll_json(const analysis::RollDynamics& roll, const FlightRecord& record) {
    return {{"identifiable", roll.verdict.identifiable},
            {"why", roll.verdict.why},
            {"lp", number_json(roll.lp_per_s)},
            {"lp_interval", interval_json(roll.lp_interval)},
            {"ld", number_json(roll.ld_per_s2)},
            {"ld_interval", interval_json(roll.ld_interval)},
            {"l0", number_json(roll.l0_radps2)},
            {"reference_q_pa", number_json(roll.reference_q_pa)},
            {"reference_speed_mps", number_json(roll.reference_speed_mps)},
            {"delay_s", number_json(roll.delay_s)},
            {"fin_moves_deg", number_json(kDegree * roll.fin_moves_rad)},
            {"residual_radps", number_json(roll.residual_radps)},
            {"samples", roll.samples},
            {"fin_source", record.fins_measured(0) ? "measured"
                           : record.has_fins(0)    ? "commanded"
                                                   : ""}};
}

json swing_json(const analysis::Swing& swing, const analysis::SwingDynamics& both,
                const analysis::StaticMarginNeeds& needs) {
    const analysis::StaticMargin margin =
        analysis::static_margin(swing, both.reference_q_pa, both.reference_speed_mps, needs);
    return {{"identifiable", swing.verdict.identifiable},
            {"why", swing.verdict.why},
            {"natural_hz", number_json(swing.natural_hz)},
            {"natural_hz_interval", interval_json(swing.natural_hz_interval)},
            {"damping", number_json(swing.damping)},
            {"damping_interval", interval_json(swing.damping_interval)},
            {"fin_effect_per_s2", number_json(swing.fin_effect_per_s2)},
            {"fin_effect_interval", interval_json(swing.fin_effect_interval)},
            {"static_margin_m", number_json(margin.value_m)},
            {"static_margin_interval", interval_json(margin.interval_m)},
            {"static_margin_why", margin.why},
            {"reference_q_pa", number_json(both.reference_q_pa)},
            {"reference_speed_mps", number_json(both.reference_speed_mps)},
            {"samples", both.samples}};
}

json actuator_json(const FlightRecord& record, std::size_t axis) {
    if (record.commanded[axis].empty() || record.measured[axis].empty()) return nullptr;
    const EvenRuns runs =
        analysis::even_runs(std::array{within(record.commanded[axis], record), within(record.measured[axis], record)});
    const analysis::Actuator found = analysis::identify_actuator(runs);
    double furthest = 0;
    for (const analysis::Run& run : runs.runs)
        for (const double command : run.channels[0]) furthest = std::max(furthest, std::abs(command));
    return {{"rate_limit_radps", number_json(found.rate_limit_radps)},
            {"rate_used_radps", number_json(found.rate_used_radps)},
            {"at_rate_limit_share", number_json(found.at_limit_share)},
            {"furthest_rad", furthest},
            {"saturated_share",
             number_json(analysis::saturated_share(within(record.commanded[axis], record).value, furthest))},
            {"delay_s", number_json(found.delay_s)},
            {"delay_sigma_s", number_json(found.delay_sigma_s)},
            {"lag_s", number_json(found.lag_s)},
            {"lag_sigma_s", number_json(found.lag_sigma_s)},
            {"error_rad", number_json(found.error_rad)}};
}

/// Fins beside the rate that answers them; null without fins.
json course_json(const FlightRecord& record) {
    const std::size_t every = record.t_s.size() / kCourseMost + 1;
    const auto thinned = [&](const std::vector<double>& values) {
        json out = json::array();
        for (std::size_t i = 0; i < values.size(); i += every) out.push_back(number_json(values[i]));
        return out;
    };
    json axes = json::object();
    for (std::size_t axis = 0; axis < 3; ++axis) {
        if (!record.has_fins(axis)) continue;
        json& one = axes[kAxes[axis]];
        one["rate_radps"] = thinned(record.rate_radps[axis]);
        if (!record.commanded[axis].empty()) one["commanded_rad"] = thinned(record.commanded_rad[axis]);
        if (record.fins_measured(axis)) one["measured_rad"] = thinned(record.measured_rad[axis]);
    }
    if (axes.empty()) return nullptr;
    return {{"t_s", thinned(record.t_s)}, {"axes", std::move(axes)}};
}

json spectrogram_json(const FlightRecord& record) {
    const RecordedChannel& channel = record.shaken.empty() ? record.rates[0] : record.shaken;
    const EvenRuns runs = analysis::even_runs(std::array{Series{channel.t_s, channel.value}});
    std::vector<analysis::PlacedRun> placed;
    for (const analysis::Run& run : runs.runs) placed.push_back({run.start_s, run.channels[0]});
    const analysis::Spectrogram found = analysis::spectrogram(placed, 1 / runs.period_s, {64, 32});
    json levels = json::array();
    for (const std::vector<double>& column : found.density) {
        json level = json::array();
        for (const double value : column) level.push_back(value > 0 ? json(10 * std::log10(value)) : json(nullptr));
        levels.push_back(std::move(level));
    }
    json out = channel_json(channel);
    out["t_s"] = found.t_s;
    out["f_hz"] = found.f_hz;
    out["level_db"] = std::move(levels);
    return out;
}

} // namespace

json number_json(double value) {
    return std::isfinite(value) ? json(value) : json(nullptr);
}

json interval_json(const analysis::Interval& interval) {
    if (!std::isfinite(interval.low) || !std::isfinite(interval.high)) return nullptr;
    return {interval.low, interval.high};
}

analysis::RollScales roll_scales(const FlightRecord& record) {
    analysis::RollScales out;
    out.rate = record.vehicle.sensors.gyro_scale;
    out.dynamic_pressure = std::hypot(2 * record.speed_sigma, kDensitySigma);
    out.pressure_over_speed = std::hypot(record.speed_sigma, kDensitySigma);
    return out;
}

analysis::RollRecord roll_record(const FlightRecord& record) {
    return {record.t_s, record.rate_radps[0], record.fin_rad(0), record.dynamic_pressure_pa, record.airspeed_mps};
}

analysis::SwingRecord swing_record(const FlightRecord& record) {
    analysis::SwingRecord out{record.t_s,
                              record.rate_radps[0],
                              record.rate_radps[1],
                              record.rate_radps[2],
                              record.dynamic_pressure_pa,
                              record.airspeed_mps,
                              {},
                              {}};
    if (record.has_fins(1)) out.pitch_fin_rad = record.fin_rad(1);
    if (record.has_fins(2)) out.yaw_fin_rad = record.fin_rad(2);
    return out;
}

Result<json> control_response(const Recordings& recordings, const json& request, const Advance& advance) {
    std::vector<Problem> problems;
    JsonReader reader(request, "response", problems);
    const std::string id = reader.text("flight");
    const double none = analysis::kNone;
    const AskedWindow asked{reader.number_or("from_s", -60, 1e5, none), reader.number_or("to_s", -60, 1e5, none)};
    analysis::StaticMarginNeeds needs;
    needs.inertia_kg_m2 = reader.number_or("inertia_transverse_kg_m2", 1e-6, 1e7, none);
    needs.normal_force_slope_per_rad = reader.number_or("normal_force_slope_per_rad", 1e-3, 1e3, none);
    reader.finish();
    if (!problems.empty()) return fail(to_string(problems));
    auto flight = open_flight(recordings, id);
    if (!flight) return tl::unexpected(flight.error());
    if (!advance(0.05)) return stopped();
    auto record = flight_record(**flight, asked);
    if (!record) return tl::unexpected(record.error());
    if (const auto& rocket = record->vehicle.rocket) {
        needs.mass_kg = rocket->mass_dry_kg;
        needs.area_m2 = rocket->reference_area_m2;
        if (std::isnan(needs.inertia_kg_m2)) needs.inertia_kg_m2 = record->inertia_transverse_kg_m2;
        if (std::isnan(needs.normal_force_slope_per_rad))
            needs.normal_force_slope_per_rad = record->normal_force_slope_per_rad;
    }

    json inputs = json::array(), outputs = json::array(), spectra = json::array(), responses = json::array();
    json actuators = json::object();
    for (std::size_t axis = 0; axis < 3; ++axis) {
        if (!advance(0.1 + 0.1 * static_cast<double>(axis))) return stopped();
        for (const RecordedChannel* channel : {&record->commanded[axis], &record->measured[axis]}) {
            if (channel->empty()) continue;
            inputs.push_back(channel_json(*channel));
            if (!record->rates[axis].empty())
                responses.push_back(response_json(*channel, record->rates[axis], *record));
        }
        if (!record->rates[axis].empty()) {
            outputs.push_back(channel_json(record->rates[axis]));
            spectra.push_back(spectrum_json(record->rates[axis], *record));
        }
        actuators[kAxes[axis]] = actuator_json(*record, axis);
    }
    if (!record->shaken.empty()) spectra.push_back(spectrum_json(record->shaken, *record));
    if (!advance(0.4)) return stopped();
    const auto go_on = [&](double part) { return advance(0.4 + 0.55 * part); };
    const analysis::RollDynamics roll = analysis::identify_roll(roll_record(*record), roll_scales(*record));
    if (!go_on(0.2)) return stopped();
    const analysis::SwingDynamics swing =
        analysis::identify_swing(swing_record(*record), roll_scales(*record).dynamic_pressure,
                                 [&](double part) { return go_on(0.2 + 0.8 * part); });
    if (!advance(0.95)) return stopped();
    if (!record->has_fins(0))
        record->notes.emplace_back("No channel has a role of a roll deflection: nothing can be said of what fins do.");
    return json{{"inputs", std::move(inputs)},
                {"outputs", std::move(outputs)},
                {"window", {record->burnout_s, record->apogee_s}},
                {"course", course_json(*record)},
                {"spectra", std::move(spectra)},
                {"frequency_response", std::move(responses)},
                {"steps", steps_json(*record)},
                {"roll", roll_json(roll, *record)},
                {"pitch", swing_json(swing.pitch, swing, needs)},
                {"yaw", swing_json(swing.yaw, swing, needs)},
                {"actuator", std::move(actuators)},
                {"spectrogram", spectrogram_json(*record)},
                {"notes", record->notes}};
}

} // namespace turnstone::debrief
