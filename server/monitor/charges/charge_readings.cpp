#include "server/monitor/charges/charge_readings.hpp"

#include <algorithm>
#include <cmath>

#include "protocol/dictionary/roles.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr std::int64_t kKeptNs = 30 * kNsPerS;

} // namespace

ChargeReadings::ChargeReadings(const PipelineSetup& setup, const Schema& schema, std::size_t vehicle)
    : schema_(&schema), accel_range_mps2_(setup.vehicles[vehicle].vehicle.sensors.accel_range_mps2),
      gyro_range_radps_(setup.vehicles[vehicle].vehicle.sensors.gyro_range_radps), sources_(schema.tables.size()) {
    table_.fill(-1);
    for (const Table& table : schema.tables)
        if (table.vehicle == static_cast<int>(vehicle) &&
            (table.kind == TableKind::packet || table.kind == TableKind::batch))
            find_places(setup.vehicles[vehicle].vehicle.sensors, table);
}

void ChargeReadings::find_places(const SensorNoise& sensors, const Table& table) {
    using enum Quantity;
    constexpr std::pair<Role, Quantity> kRolesOf[kQuantities] = {
        {Role::charge_current, current},       {Role::charge_bay_pressure, bay},
        {Role::charge_accel_x, burst_axial},   {Role::charge_turn_rate, burst_turn},
        {Role::charge_battery, burst_battery}, {Role::static_pressure, pressure},
        {Role::accel_body_x, accel_x},         {Role::accel_body_y, accel_y},
        {Role::accel_body_z, accel_z},         {Role::rate_body_x, rate_x},
        {Role::rate_body_y, rate_y},           {Role::rate_body_z, rate_z},
        {Role::battery_voltage, battery},      {Role::air_temperature, temperature}};
    Source source;
    for (std::size_t k = 0; k < table.number_count; ++k) {
        const auto role = role_from_name(table.columns[k].role);
        if (!role) continue;
        source.always &= *role < Role::charge_fired || *role > Role::charge_current;
        const auto known = std::ranges::find(kRolesOf, *role, &std::pair<Role, Quantity>::first);
        if (known == std::end(kRolesOf)) continue;
        const Quantity quantity = known->second;
        const auto index = static_cast<std::size_t>(quantity);
        if (table_[index] >= 0) continue; // of two sensors the first
        table_[index] = table.id;
        source.places.push_back({quantity, k, table.columns[k].valid_range});
        const bool is_inertial = quantity >= accel_x && quantity <= rate_z;
        if (is_inertial || quantity == burst_axial || quantity == burst_turn) mean_over_s_[index] = table.period_s;
        const double part = sensors.imu_sample_time == SampleTime::start    ? 1.0
                            : sensors.imu_sample_time == SampleTime::middle ? 0.5
                                                                            : 0.0;
        if (is_inertial) source.later_ns = seconds_to_ns(part * table.period_s - sensors.imu_group_delay_s);
    }
    sources_[table.id] = std::move(source);
}

void ChargeReadings::see(const Batch& batch, Marks from) {
    std::int32_t newest_frame = -1;
    for (std::size_t k = from.rows; k < batch.rows.size(); ++k) {
        const RowRecord& row = batch.rows[k];
        if (!sources_[row.table]) continue;
        const Source& source = *sources_[row.table];
        if (source.always) {
            heard_ns_.push_back(row.t_ns);
            const bool is_new = row.frame > newest_frame && static_cast<std::size_t>(row.frame) < batch.frames.size();
            if (is_new) see_frame(batch.frames[static_cast<std::size_t>(row.frame)]);
            newest_frame = std::max(newest_frame, row.frame);
        }
        const auto numbers = batch.numbers_of(row, schema_->tables[row.table]);
        for (const Place& place : source.places) {
            const double value = numbers[place.column];
            if (!std::isfinite(value)) continue;
            if (place.valid && (value < place.valid->first || value > place.valid->second)) continue;
            const bool is_inertial = place.quantity >= Quantity::accel_x && place.quantity <= Quantity::rate_z;
            auto& kept = kept_[static_cast<std::size_t>(place.quantity)];
            kept.push_back({row.t_ns + (is_inertial ? source.later_ns : 0), value});
            if (kept.size() > kMost) kept.pop_front();
        }
    }
}

void ChargeReadings::see_frame(const FrameRecord& frame) {
    if (frame.packet_verdict != PacketVerdict::accepted) return;
    const auto known = std::ranges::find(counters_, frame.apid, &Counter::apid);
    if (known == counters_.end()) {
        counters_.push_back({frame.apid, frame.sequence_count, frame.boot});
        return;
    }
    constexpr std::int32_t kTurn = 16384, kBelieved = 1000;
    const std::int32_t step = (frame.sequence_count - known->count + kTurn) % kTurn;
    if (known->boot == frame.boot && step > 1 && step < kBelieved)
        losses_.push_back({frame.t_rx_ns, static_cast<double>(step - 1)});
    *known = {frame.apid, frame.sequence_count, frame.boot};
}

void ChargeReadings::forget(std::int64_t t_ns) {
    const std::int64_t until_ns = t_ns - kKeptNs;
    for (auto& kept : kept_)
        while (!kept.empty() && kept.front().t_ns < until_ns) kept.pop_front();
    while (!heard_ns_.empty() && (heard_ns_.front() < until_ns || heard_ns_.size() > kMost)) heard_ns_.pop_front();
    while (!losses_.empty() && losses_.front().t_ns < until_ns) losses_.pop_front();
    while (!restarts_ns_.empty() && restarts_ns_.front() < until_ns) restarts_ns_.pop_front();
}

analysis::Signal ChargeReadings::signal(Quantity quantity, std::int64_t t_zero_ns) const {
    const auto index = static_cast<std::size_t>(quantity);
    analysis::Signal out{.readings = {}, .mean_over_s = mean_over_s_[index]};
    for (const Kept& kept : kept_[index])
        if (seconds_between(t_zero_ns, kept.t_ns) > -analysis::kLookBefore_s - 1)
            out.readings.push_back({seconds_between(t_zero_ns, kept.t_ns), kept.value});
    std::ranges::stable_sort(out.readings, {}, &analysis::Reading::t_s);
    const auto same_time = [](const analysis::Reading& a, const analysis::Reading& b) { return a.t_s == b.t_s; };
    out.readings.erase(std::unique(out.readings.begin(), out.readings.end(), same_time), out.readings.end());
    return out;
}

analysis::ChargeRecord ChargeReadings::around(std::int64_t t_ns, double sigma_s, std::int64_t now_ns) const {
    using enum Quantity;
    const auto of = [&](Quantity quantity) { return signal(quantity, t_ns); };
    analysis::ChargeRecord out;
    out.fired_s = 0;
    out.fired_sigma_s = sigma_s;
    out.until_s = seconds_between(t_ns, now_ns);
    out.current_a = of(current);
    out.bay_pa = of(bay);
    out.burst_axial_mps2 = of(burst_axial);
    out.burst_turn_radps = of(burst_turn);
    out.burst_battery_v = of(burst_battery);
    out.pressure_pa = of(pressure);
    out.accel_mps2 = {of(accel_x), of(accel_y), of(accel_z)};
    out.rate_radps = {of(rate_x), of(rate_y), of(rate_z)};
    out.battery_v = of(battery);
    out.temperature_k = of(temperature);
    out.accel_range_mps2 = accel_range_mps2_;
    out.gyro_range_radps = gyro_range_radps_;
    for (const std::int64_t heard_ns : heard_ns_) out.heard_s.push_back(seconds_between(t_ns, heard_ns));
    std::ranges::sort(out.heard_s);
    const auto is_around = [&](std::int64_t at_ns, double after_s) {
        const double since_s = seconds_between(t_ns, at_ns);
        return since_s > -analysis::kCountBefore_s && since_s < after_s;
    };
    out.packets_lost = 0;
    for (const Loss& loss : losses_)
        if (is_around(loss.t_ns, analysis::kCountAfter_s)) out.packets_lost += loss.packets;
    for (const std::int64_t restart_ns : restarts_ns_)
        if (is_around(restart_ns, analysis::kLookAfter_s)) out.restarts += 1;
    return out;
}

} // namespace turnstone
