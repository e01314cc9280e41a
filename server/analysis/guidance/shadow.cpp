#include "server/analysis/guidance/shadow.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>

namespace turnstone::analysis {

namespace {

/// std::mt19937_64 is the same everywhere, std::normal_distribution is not.
class Draws {
  public:
    explicit Draws(std::uint64_t seed) : engine_(seed) {}
    double between(double low, double high) {
        return low + (high - low) * static_cast<double>(engine_() >> 11U) * 0x1.0p-53;
    }
    /// Box and Muller's.
    double normal() {
        const double radius = std::sqrt(-2 * std::log(1 - between(0, 1)));
        return radius * std::cos(2 * std::numbers::pi * between(0, 1));
    }

  private:
    std::mt19937_64 engine_;
};

double straight(std::span<const double> t_s, std::span<const double> value, double at_s, std::size_t& near) {
    while (near + 1 < t_s.size() && t_s[near + 1] <= at_s) ++near;
    if (near + 1 >= t_s.size() || at_s <= t_s[near]) return value[near];
    return value[near] + (at_s - t_s[near]) / (t_s[near + 1] - t_s[near]) * (value[near + 1] - value[near]);
}

std::size_t whole(const ShadowRecord& record) {
    return std::min(
        {record.t_s.size(), record.rate_radps.size(), record.dynamic_pressure_pa.size(), record.airspeed_mps.size()});
}

Quantiles quantiles_of(std::string what, std::string title, std::string unit, std::vector<double> values) {
    std::erase_if(values, [](double value) { return std::isnan(value); });
    std::ranges::sort(values);
    const auto at = [&](double part) {
        if (values.empty()) return kNone;
        const double place = part * static_cast<double>(values.size() - 1);
        const auto low = static_cast<std::size_t>(place);
        const std::size_t high = std::min(low + 1, values.size() - 1);
        return values[low] + (place - std::floor(place)) * (values[high] - values[low]);
    };
    return {std::move(what), std::move(title), std::move(unit), at(0.05), at(0.5), at(0.95)};
}

} // namespace

ShadowRun run_shadow(const Law& law, const ShadowRecord& record) {
    ShadowRun out;
    Controller controller(law);
    std::size_t acting = 0, saturated = 0, rate_used = 0;
    for (std::size_t i = 0; i < whole(record); ++i) {
        const double before = out.limited_rad.empty() ? 0.0 : out.limited_rad.back();
        const Command& command = controller.take(record.t_s[i], record.rate_radps[i], record.dynamic_pressure_pa[i]);
        out.t_s.push_back(record.t_s[i]);
        out.state.push_back(law.of_angle() ? controller.angle_rad() : record.rate_radps[i]);
        out.wished_rad.push_back(command.wished_rad);
        out.limited_rad.push_back(command.limited_rad);
        const double moved = std::abs(command.limited_rad - before) / law.period_s;
        if (!(out.fastest_radps >= moved)) out.fastest_radps = moved;
        if (!(record.dynamic_pressure_pa[i] >= law.least_q_pa)) continue;
        ++acting;
        saturated += command.saturated ? 1 : 0;
        rate_used += command.rate_used ? 1 : 0;
    }
    if (acting > 0) {
        out.saturated_share = static_cast<double>(saturated) / static_cast<double>(acting);
        out.rate_used_share = static_cast<double>(rate_used) / static_cast<double>(acting);
    }
    return out;
}

AxisPlant FlightPlant::at(double q_pa, double speed_mps) const {
    const double pressure = q_pa / reference_q_pa;
    return {damping_per_s * pressure * reference_speed_mps / std::max(speed_mps, 1.0), effect_per_s2 * pressure,
            stiffness_per_s2 * pressure, drive_lag_s, drive_delay_s};
}

Margins margins_at(const Law& law, const FlightPlant& plant, double q_pa, double speed_mps, double sensor_delay_s) {
    AxisPlant axis = plant.at(q_pa, speed_mps);
    // The mean of a period's readings is late by half of one, a command that is held for a period by the other half.
    axis.delay_s += sensor_delay_s + law.delay_s + law.period_s;
    return loop_margins(law, law.factor_at(q_pa), axis);
}

ClosedLoop fly_closed(const Law& law, const FlightPlant& plant, const SensorModel& sensor, const ShadowRecord& record,
                      std::uint64_t seed) {
    constexpr double kStep_s = 0.001, kSensorStep_s = 0.005;
    ClosedLoop out{{}, {}, {}, kNone, kNone, kNone, kNone};
    if (whole(record) < 2) return out;
    Draws draws(seed);
    Controller controller(law);
    const double begin_s = record.t_s.front(), end_s = record.t_s[whole(record) - 1];
    double rate = record.rate_radps.front(), angle = 0, fin = 0;
    std::deque<double> rates(static_cast<std::size_t>(std::lround(sensor.delay_s / kStep_s)) + 1, rate);
    std::deque<double> commands(static_cast<std::size_t>(std::lround(plant.drive_delay_s / kStep_s)) + 1, 0.0);
    std::size_t near_q = 0, near_speed = 0, acting = 0, saturated = 0, rate_used = 0;
    std::vector<double> errors;
    const double part = plant.drive_lag_s > 0 ? 1 - std::exp(-kStep_s / plant.drive_lag_s) : 1.0;
    const double most = std::isnan(plant.drive_rate_radps) ? 1e9 : plant.drive_rate_radps * kStep_s;
    const double stop = std::isnan(plant.drive_limit_rad) ? 1e9 : plant.drive_limit_rad;
    const auto steps = static_cast<std::size_t>((end_s - begin_s) / kStep_s);
    const auto per_reading = static_cast<std::size_t>(std::lround(std::min(kSensorStep_s, law.period_s) / kStep_s));
    for (std::size_t i = 0; i < steps; ++i) {
        const double t_s = begin_s + static_cast<double>(i) * kStep_s;
        const double q_pa = straight(record.t_s, record.dynamic_pressure_pa, t_s, near_q);
        const double speed_mps = straight(record.t_s, record.airspeed_mps, t_s, near_speed);
        const AxisPlant axis = plant.at(q_pa, speed_mps);
        if (i % per_reading == 0) {
            const Command& command = controller.take(t_s, rates.front() + sensor.noise_radps * draws.normal(), q_pa);
            out.t_s.push_back(t_s);
            out.state.push_back(law.of_angle() ? angle : rate);
            out.fin_rad.push_back(fin);
            if (q_pa >= law.least_q_pa) {
                ++acting;
                saturated += command.saturated ? 1 : 0;
                rate_used += command.rate_used ? 1 : 0;
                errors.push_back((law.of_angle() ? angle : rate) - law.reference);
            }
        }
        commands.push_back(controller.leaving_rad(t_s));
        commands.pop_front();
        fin += std::clamp(part * (std::clamp(commands.front(), -stop, stop) - fin), -most, most);
        const double push = axis.effect_per_s2 * fin - axis.stiffness_per_s2 * angle +
                            plant.offset_radps2 * q_pa / plant.reference_q_pa;
        const double kept = std::exp(axis.damping_per_s * kStep_s);
        angle = std::clamp(angle + rate * kStep_s, -1e4, 1e4);
        rate = kept * rate + (std::abs(axis.damping_per_s) > 1e-9 ? (kept - 1) / axis.damping_per_s : kStep_s) * push;
        // Far beyond what any vehicle turns: it has swung up, and more of the same says no more.
        rate = std::clamp(rate, -1e4, 1e4);
        rates.push_back(rate);
        rates.pop_front();
    }
    if (acting == 0) return out;
    double square = 0;
    const std::size_t from = errors.size() / 3;
    for (std::size_t i = from; i < errors.size(); ++i) square += errors[i] * errors[i];
    out.error_rms = std::sqrt(square / static_cast<double>(errors.size() - from));
    out.error_end = errors.back();
    out.saturated_share = static_cast<double>(saturated) / static_cast<double>(acting);
    out.rate_used_share = static_cast<double>(rate_used) / static_cast<double>(acting);
    return out;
}

std::vector<Quantiles> sensitivity(const Law& law, const FlightPlant& plant, const SensorModel& sensor,
                                   const ShadowRecord& record, std::size_t seeds,
                                   const std::function<bool(double)>& advance) {
    std::vector<double> rms, end, saturated, rate_used, phase_deg, gain_db, delay_s, stable;
    const std::size_t count = whole(record);
    if (count < 2) return {};
    const auto fastest = std::ranges::max_element(record.dynamic_pressure_pa.first(count));
    const double speed_mps =
        record.airspeed_mps[static_cast<std::size_t>(fastest - record.dynamic_pressure_pa.begin())];
    for (std::size_t seed = 0; seed < seeds; ++seed) {
        Draws draws(1000 + seed);
        FlightPlant drawn = plant;
        drawn.damping_per_s += plant.damping_sigma * draws.normal();
        drawn.effect_per_s2 += plant.effect_sigma * draws.normal();
        const SensorModel worn{sensor.noise_radps * draws.between(0.5, 2), sensor.delay_s * draws.between(0, 2)};
        const ClosedLoop flown = fly_closed(law, drawn, worn, record, seed);
        rms.push_back(flown.error_rms);
        end.push_back(std::abs(flown.error_end));
        saturated.push_back(flown.saturated_share);
        rate_used.push_back(flown.rate_used_share);
        const Margins margins = margins_at(law, drawn, *fastest, speed_mps, worn.delay_s);
        stable.push_back(margins.stable ? 1 : 0);
        if (margins.stable) {
            phase_deg.push_back(margins.phase_rad * 180 / std::numbers::pi);
            gain_db.push_back(margins.gain_db());
            delay_s.push_back(margins.delay_s);
        }
        if (!advance(static_cast<double>(seed + 1) / static_cast<double>(seeds))) return {};
    }
    const std::string unit = law.of_angle() ? "rad" : "rad/s";
    return {quantiles_of("error_rms", "Error, rms", unit, std::move(rms)),
            quantiles_of("error_end", "Error at the end", unit, std::move(end)),
            quantiles_of("saturated_share", "Time at the deflection limit", "1", std::move(saturated)),
            quantiles_of("rate_used_share", "Time at the rate limit", "1", std::move(rate_used)),
            quantiles_of("stable", "Stable at the greatest dynamic pressure", "1", std::move(stable)),
            quantiles_of("phase_margin_deg", "Phase margin there", "deg", std::move(phase_deg)),
            quantiles_of("gain_margin_db", "Gain margin there", "dB", std::move(gain_db)),
            quantiles_of("delay_margin_s", "Delay margin there", "s", std::move(delay_s))};
}

} // namespace turnstone::analysis
