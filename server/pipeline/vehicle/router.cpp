#include "server/pipeline/vehicle/router.hpp"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <utility>

#include "server/pipeline/vehicle/earth_centred.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

// Air temperature changes slowly: one from another packet goes with a pressure sample for this long.
constexpr std::int64_t kTemperatureHoldNs = 10 * kNsPerS;

// A sample's time moves by no more than a tick: later than that, estimators have gone on.
constexpr std::int64_t kMoveMaxNs = kNsPerS / 10;

template <class Source>
bool has(const Source& source, Role role) noexcept {
    return source.at[static_cast<std::size_t>(role)] >= 0;
}

template <class Source>
double value(const Source& source, const DecodedRow& row, Role role) noexcept {
    const std::int16_t at = source.at[static_cast<std::size_t>(role)];
    return at < 0 ? kNaN : row.numbers[static_cast<std::size_t>(at)];
}

template <class Source>
Eigen::Vector3d vector(const Source& source, const DecodedRow& row, Role x, Role y, Role z) noexcept {
    return {value(source, row, x), value(source, row, y), value(source, row, z)};
}

template <class Source>
Eigen::Vector3d acceleration(const Source& source, const DecodedRow& row) noexcept {
    return vector(source, row, Role::accel_body_x, Role::accel_body_y, Role::accel_body_z);
}

template <class Source>
Eigen::Vector3d rate(const Source& source, const DecodedRow& row) noexcept {
    return vector(source, row, Role::rate_body_x, Role::rate_body_y, Role::rate_body_z);
}

template <class Source>
bool has_acceleration(const Source& source) noexcept {
    return has(source, Role::accel_body_x) || (has(source, Role::accel_body_y) && has(source, Role::accel_body_z));
}

template <class Source>
bool has_rates(const Source& source) noexcept {
    return has(source, Role::rate_body_x) && has(source, Role::rate_body_y) && has(source, Role::rate_body_z);
}

int whole(double number, int otherwise) noexcept {
    return std::isfinite(number) && std::abs(number) < 1e6 ? static_cast<int>(number) : otherwise;
}

/// Milliseconds between two rows of a table, as far as the dictionary tells; 0: it does not.
double period_ms(const Dictionary& dictionary, const ChannelTable& table) {
    const Packet& packet = dictionary.packets[table.packet];
    if (table.group == nullptr) return packet.period_ms;
    if (table.group->period_ms > 0) return table.group->period_ms;
    return table.group->count.is_fixed() && table.group->count.number > 0 ? packet.period_ms / table.group->count.number
                                                                          : packet.period_ms;
}

/// Samples a second of a table in the mean.
double rate_hz(const Dictionary& dictionary, const ChannelTable& table) {
    const double packet_ms = dictionary.packets[table.packet].period_ms;
    const double rows = table.group != nullptr && table.group->count.is_fixed() ? table.group->count.number : 1;
    return packet_ms > 0 ? 1e3 * rows / packet_ms : 0;
}

} // namespace

/// The first and the second channel of each role make a sensor each.
void Router::add_sensors(const ChannelTable& table, Plan& plan) {
    plan.at.fill(-1);
    Sensor second;
    second.at.fill(-1);
    double range_mps2[2] = {sensors_.accel_range_mps2, sensors_.accel_range_mps2};
    for (const Channel& channel : table.channels) {
        if (channel.is_text() || !channel.role) continue;
        const auto role = static_cast<std::size_t>(*channel.role);
        const std::size_t which = plan.at[role] < 0 ? 0 : 1;
        Places& at = which == 0 ? plan.at : second.at;
        if (at[role] < 0) at[role] = static_cast<std::int16_t>(channel.place);
        if (*channel.role == Role::accel_body_x && channel.field->valid_range)
            range_mps2[which] = channel.field->valid_range->second;
    }
    const auto add = [&](const Sensor& sensor, double range) {
        if (has_acceleration(sensor) && accelerometers_ < 2) {
            accel_range_mps2_[accelerometers_] = range;
            plan.inertial.push_back({sensor.at, accelerometers_++});
        } else if (!has_acceleration(sensor) && (has_rates(sensor) || has(sensor, Role::rate_body_x))) {
            plan.inertial.push_back({sensor.at, 0});
        }
        if (has(sensor, Role::static_pressure) && barometers_ < 2)
            plan.barometers.push_back({sensor.at, barometers_++});
    };
    add({plan.at, 0}, range_mps2[0]);
    // A second accelerometer beside one gyro turns as the first does.
    for (const Role role : {Role::rate_body_x, Role::rate_body_y, Role::rate_body_z})
        if (has_acceleration(second) && !has(second, role))
            second.at[static_cast<std::size_t>(role)] = plan.at[static_cast<std::size_t>(role)];
    if (has_acceleration(second) || has(second, Role::static_pressure)) add(second, range_mps2[1]);
}

Router::Router(const Dictionary& dictionary, const Vehicle& vehicle, const Site& site)
    : site_(&site), sensors_(vehicle.sensors), fix_time_(vehicle.sensors.fix_delay_s) {
    using enum Role;
    bool accelerations_alone = false, rates_alone = false, together = false;
    for (const ChannelTable& table : dictionary.tables) {
        Plan plan;
        add_sensors(table, plan);
        plan.period_ns = std::llround(period_ms(dictionary, table) * 1e6);
        const bool height = has(plan, height_ellipsoid) || has(plan, height_msl);
        const bool geodetic = has(plan, latitude) && has(plan, longitude) && height;
        plan.is_earth_centred =
            !geodetic && has(plan, position_ecef_x) && has(plan, position_ecef_y) && has(plan, position_ecef_z);
        plan.fix = geodetic || plan.is_earth_centred;
        plan.mag = has(plan, mag_body_x) && has(plan, mag_body_y) && has(plan, mag_body_z);
        plan.onboard = has(plan, onboard_phase) || has(plan, onboard_altitude) || has(plan, onboard_vertical_speed) ||
                       has(plan, onboard_speed) || has(plan, onboard_q_w);
        plan.wind = has(plan, wind_speed);
        plan.engine = has(plan, engine_speed) || has(plan, engine_temperature) || has(plan, oil_pressure);

        const double hz = rate_hz(dictionary, table);
        inputs_.accel_axial |= has(plan, accel_body_x);
        inputs_.accel_lateral |= has(plan, accel_body_y) && has(plan, accel_body_z);
        inputs_.rates |= has_rates(plan);
        if (has_acceleration(plan)) inputs_.imu_hz = std::max(inputs_.imu_hz, hz);
        if (has_rates(plan)) inputs_.rates_hz = std::max(inputs_.rates_hz, hz);
        if (!plan.barometers.empty()) inputs_.pressure_hz = std::max(inputs_.pressure_hz, hz);
        if (plan.fix) inputs_.fix_hz = std::max(inputs_.fix_hz, hz);
        inputs_.pressure |= !plan.barometers.empty();
        inputs_.fix |= plan.fix;
        inputs_.onboard |= plan.onboard;
        inputs_.engine |= plan.engine;
        inputs_.wind |= plan.wind;
        accelerations_alone |= has_acceleration(plan) && !has_rates(plan);
        rates_alone |= has_rates(plan) && !has_acceleration(plan);
        together |= has_acceleration(plan) && has_rates(plan);
        plans_.push_back(std::move(plan));
    }
    rates_apart_ = accelerations_alone && rates_alone && !together;
    if (accelerometers_ != 2) return;
    accelerometer_.emplace(accel_range_mps2_);
    inputs_.accel_range_mps2 = std::max(accel_range_mps2_[0], accel_range_mps2_[1]);
}

std::int64_t Router::interval_end_ns(Plan& plan, std::int64_t t_ns) const noexcept {
    // The dictionary's period is a wish; the samples themselves show it, gaps apart.
    const std::int64_t passed_ns = t_ns - plan.t_row_ns;
    if (plan.period_ns == 0 || (passed_ns > plan.period_ns / 2 && passed_ns < 3 * plan.period_ns / 2))
        plan.period_ns += plan.period_ns == 0 ? std::clamp<std::int64_t>(passed_ns, 0, kMoveMaxNs)
                                              : (passed_ns - plan.period_ns) / 16;
    plan.t_row_ns = t_ns;
    const std::int64_t later_ns = sensors_.imu_sample_time == SampleTime::start    ? plan.period_ns
                                  : sensors_.imu_sample_time == SampleTime::middle ? plan.period_ns / 2
                                                                                   : 0;
    return t_ns + std::min(later_ns, kMoveMaxNs) - seconds_to_ns(sensors_.imu_group_delay_s);
}

void Router::route_inertial(Plan& plan, const DecodedRow& row, std::int64_t t_row_ns, estimate::EstimatorChain& chain,
                            EstimateSink& sink) {
    if (plan.inertial.empty()) return;
    const std::int64_t t_ns = interval_end_ns(plan, t_row_ns);
    for (const Sensor& sensor : plan.inertial) {
        const Eigen::Vector3d accel_mps2 = acceleration(sensor, row);
        if (has_acceleration(sensor) && accelerometer_ && !accelerometer_->use(sensor.number, t_ns, accel_mps2))
            continue;
        if (!rates_apart_)
            chain.imu({t_ns, accel_mps2, rate(sensor, row)}, sink);
        else if (has_acceleration(sensor))
            pairing_.acceleration(t_ns, accel_mps2);
        else
            pairing_.rate(t_ns, rate(sensor, row));
    }
    if (rates_apart_) pairing_.drain([&](const ImuSample& sample) { chain.imu(sample, sink); });
}

FixSample Router::make_fix(const Plan& plan, const DecodedRow& row, std::int64_t t_ns) noexcept {
    using enum Role;
    GeodeticPosition position{value(plan, row, latitude), value(plan, row, longitude),
                              value(plan, row, height_ellipsoid)};
    if (!std::isfinite(position.height_m)) position.height_m = value(plan, row, height_msl) + site_->geoid_height_m;
    if (plan.is_earth_centred)
        position = geodetic_from_earth_centred(vector(plan, row, position_ecef_x, position_ecef_y, position_ecef_z));
    Eigen::Vector3d velocity_mps = vector(plan, row, velocity_east, velocity_north, velocity_up);
    if (has(plan, velocity_ecef_x) && !has(plan, velocity_east))
        velocity_mps =
            enu_from_earth_centred(vector(plan, row, velocity_ecef_x, velocity_ecef_y, velocity_ecef_z), position);
    // A receiver that does not say how many dimensions a fix has sends positions only when it has a fix.
    const int dimensions = has(plan, fix_dimensions) ? whole(value(plan, row, fix_dimensions), 1) : 3;
    const std::int64_t t_valid_ns =
        dimensions < 2 ? 0
                       : fix_time_.valid_ns({value(plan, row, fix_utc), value(plan, row, fix_utc_time_of_day),
                                             value(plan, row, gps_week), value(plan, row, gps_time_of_week)},
                                            t_ns);
    return {t_ns,
            position.latitude_deg,
            position.longitude_deg,
            position.height_m,
            velocity_mps,
            dimensions,
            value(plan, row, fix_accuracy_horizontal),
            value(plan, row, fix_accuracy_vertical),
            whole(value(plan, row, satellites_used), -1),
            value(plan, row, fix_accuracy_speed),
            t_valid_ns};
}

void Router::route(const DecodedRow& row, std::int64_t t_ns, estimate::EstimatorChain& chain, EstimateSink& sink,
                   std::span<estimate::EstimatorChain* const> wind_chains) {
    using enum Role;
    Plan& plan = plans_[row.table];
    const double temperature_k = value(plan, row, air_temperature);
    if (std::isfinite(temperature_k)) {
        temperature_k_ = temperature_k;
        temperature_t_ns_ = t_ns;
    }
    route_inertial(plan, row, t_ns, chain, sink);
    for (const Sensor& sensor : plan.barometers) {
        const bool held = std::llabs(t_ns - temperature_t_ns_) <= kTemperatureHoldNs;
        double pressure_pa = value(sensor, row, static_pressure);
        if (barometers_ == 2) pressure_pa = barometer_.use(sensor.number, t_ns, pressure_pa);
        if (barometers_ < 2 || std::isfinite(pressure_pa))
            chain.pressure({t_ns, pressure_pa, held ? temperature_k_ : kNaN}, sink);
    }
    if (plan.mag) chain.mag({t_ns, vector(plan, row, mag_body_x, mag_body_y, mag_body_z)});
    if (plan.fix) chain.fix(make_fix(plan, row, t_ns), sink);
    if (plan.onboard)
        chain.onboard({t_ns, value(plan, row, onboard_phase), value(plan, row, onboard_altitude),
                       value(plan, row, onboard_vertical_speed), value(plan, row, onboard_speed),
                       Eigen::Quaterniond(value(plan, row, onboard_q_w), value(plan, row, onboard_q_x),
                                          value(plan, row, onboard_q_y), value(plan, row, onboard_q_z))},
                      sink);
    if (plan.wind) {
        const WindSample wind{t_ns, value(plan, row, wind_speed), value(plan, row, wind_from)};
        chain.anemometer(wind, sink);
        for (estimate::EstimatorChain* const listener : wind_chains) listener->wind(wind);
    }
    if (plan.engine)
        chain.engine({t_ns, value(plan, row, engine_speed), value(plan, row, engine_temperature),
                      value(plan, row, oil_pressure)},
                     sink);
}

} // namespace turnstone
