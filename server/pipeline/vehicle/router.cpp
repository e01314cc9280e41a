#include "server/pipeline/vehicle/router.hpp"

#include <cmath>
#include <cstdlib>

#include "server/pipeline/vehicle/earth_centred.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

// Air temperature changes slowly: one from another packet goes with a pressure sample for this long.
constexpr std::int64_t kTemperatureHoldNs = 10 * kNsPerS;

template <class Plan>
bool has(const Plan& plan, Role role) noexcept {
    return plan.at[static_cast<std::size_t>(role)] >= 0;
}

template <class Plan>
double value(const Plan& plan, const DecodedRow& row, Role role) noexcept {
    const std::int16_t at = plan.at[static_cast<std::size_t>(role)];
    return at < 0 ? kNaN : row.numbers[static_cast<std::size_t>(at)];
}

template <class Plan>
Eigen::Vector3d vector(const Plan& plan, const DecodedRow& row, Role x, Role y, Role z) noexcept {
    return {value(plan, row, x), value(plan, row, y), value(plan, row, z)};
}

int whole(double number, int otherwise) noexcept {
    return std::isfinite(number) && std::abs(number) < 1e6 ? static_cast<int>(number) : otherwise;
}

} // namespace

Router::Router(const Dictionary& dictionary, const Site& site) : site_(&site) {
    using enum Role;
    for (const ChannelTable& table : dictionary.tables) {
        Plan plan;
        plan.at.fill(-1);
        for (const Channel& channel : table.channels) {
            if (channel.is_text() || !channel.role) continue;
            // A role on several channels (igniters) is not a measurement of the chain; the first is kept.
            if (!has(plan, *channel.role))
                plan.at[static_cast<std::size_t>(*channel.role)] = static_cast<std::int16_t>(channel.place);
        }
        const bool lateral = has(plan, accel_body_y) && has(plan, accel_body_z);
        const bool rates = has(plan, rate_body_x) && has(plan, rate_body_y) && has(plan, rate_body_z);
        const bool height = has(plan, height_ellipsoid) || has(plan, height_msl);
        plan.imu = has(plan, accel_body_x) || lateral || rates || has(plan, rate_body_x);
        plan.pressure = has(plan, static_pressure);
        const bool geodetic = has(plan, latitude) && has(plan, longitude) && height;
        plan.is_earth_centred =
            !geodetic && has(plan, position_ecef_x) && has(plan, position_ecef_y) && has(plan, position_ecef_z);
        plan.fix = geodetic || plan.is_earth_centred;
        plan.mag = has(plan, mag_body_x) && has(plan, mag_body_y) && has(plan, mag_body_z);
        plan.onboard = has(plan, onboard_phase) || has(plan, onboard_altitude) || has(plan, onboard_vertical_speed) ||
                       has(plan, onboard_speed) || has(plan, onboard_q_w);
        plan.wind = has(plan, wind_speed);
        plan.engine = has(plan, engine_speed) || has(plan, engine_temperature) || has(plan, oil_pressure);

        inputs_.accel_axial |= has(plan, accel_body_x);
        inputs_.accel_lateral |= lateral;
        inputs_.rates |= rates;
        inputs_.pressure |= plan.pressure;
        inputs_.onboard |= plan.onboard;
        inputs_.engine |= plan.engine;
        plans_.push_back(plan);
    }
}

FixSample Router::make_fix(const Plan& plan, const DecodedRow& row, std::int64_t t_ns) const noexcept {
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
    return {t_ns,
            position.latitude_deg,
            position.longitude_deg,
            position.height_m,
            velocity_mps,
            dimensions,
            value(plan, row, fix_accuracy_horizontal),
            value(plan, row, fix_accuracy_vertical),
            whole(value(plan, row, satellites_used), -1)};
}

void Router::route(const DecodedRow& row, std::int64_t t_ns, estimate::EstimatorChain& chain, EstimateSink& sink,
                   std::span<estimate::EstimatorChain* const> wind_chains) {
    using enum Role;
    const Plan& plan = plans_[row.table];
    const double temperature_k = value(plan, row, air_temperature);
    if (std::isfinite(temperature_k)) {
        temperature_k_ = temperature_k;
        temperature_t_ns_ = t_ns;
    }
    if (plan.imu)
        chain.imu({t_ns, vector(plan, row, accel_body_x, accel_body_y, accel_body_z),
                   vector(plan, row, rate_body_x, rate_body_y, rate_body_z)},
                  sink);
    if (plan.pressure) {
        const bool held = std::llabs(t_ns - temperature_t_ns_) <= kTemperatureHoldNs;
        chain.pressure({t_ns, value(plan, row, static_pressure), held ? temperature_k_ : kNaN}, sink);
    }
    if (plan.mag) chain.mag({t_ns, vector(plan, row, mag_body_x, mag_body_y, mag_body_z)});
    if (plan.fix) chain.fix(make_fix(plan, row, t_ns));
    if (plan.onboard)
        chain.onboard({t_ns, value(plan, row, onboard_phase), value(plan, row, onboard_altitude),
                       value(plan, row, onboard_vertical_speed), value(plan, row, onboard_speed),
                       Eigen::Quaterniond(value(plan, row, onboard_q_w), value(plan, row, onboard_q_x),
                                          value(plan, row, onboard_q_y), value(plan, row, onboard_q_z))},
                      sink);
    if (plan.wind)
        for (estimate::EstimatorChain* const listener : wind_chains)
            listener->wind({t_ns, value(plan, row, wind_speed), value(plan, row, wind_from)});
    if (plan.engine)
        chain.engine({t_ns, value(plan, row, engine_speed), value(plan, row, engine_temperature),
                      value(plan, row, oil_pressure)},
                     sink);
}

} // namespace turnstone
