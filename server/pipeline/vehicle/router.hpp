#pragma once
/// From decoded rows to the measurements estimators take, by the roles in the dictionary. Resolved once into
/// indices.
///
/// Inertial samples leave here as means over the interval that ends at their time, whatever their packets mean by it
/// (vehicle.json: imu_sample_time, imu_group_delay_s). Accelerations and turn rates in packets of their own are paired
/// by time. Of two accelerometers or barometers one is chosen (sensor_choice.hpp); further ones, and second channels of
/// any other role, are recorded and not used.
#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "protocol/decode/decoder.hpp"
#include "protocol/dictionary/dictionary.hpp"
#include "server/estimate/chain/chain.hpp"
#include "server/pipeline/vehicle/fix_time.hpp"
#include "server/pipeline/vehicle/inertial_pairing.hpp"
#include "server/pipeline/vehicle/sensor_choice.hpp"
#include "shared/site.hpp"
#include "shared/vehicle.hpp"

namespace turnstone {

class Router {
  public:
    /// `dictionary` and `vehicle` are read during construction only; `site` must outlive the router.
    Router(const Dictionary& dictionary, const Vehicle& vehicle, const Site& site);

    /// Which measurements this dictionary can give.
    [[nodiscard]] const estimate::ChainInputs& inputs() const noexcept { return inputs_; }
    /// Hands `row`, taken at `t_ns`, to the chain: one call for each kind of measurement in its table. Wind goes
    /// to each of `wind_chains`.
    void route(const DecodedRow& row, std::int64_t t_ns, estimate::EstimatorChain& chain, EstimateSink& sink,
               std::span<estimate::EstimatorChain* const> wind_chains);

    /// Station time minus GNSS time by the newest fixes, seconds; NaN where the receiver sends no time.
    [[nodiscard]] double station_ahead_of_gnss_s() const noexcept { return fix_time_.station_ahead_s(); }
    /// The vehicle's computer restarted: what waits for its other half is of the boot before.
    void reboot() { pairing_ = {}; }

  private:
    using Places =
        std::array<std::int16_t, static_cast<std::size_t>(Role::count_)>; ///< among the numbers; -1: not here
    /// An accelerometer, gyro or both, or a barometer, in one table.
    struct Sensor {
        Places at;
        std::size_t number = 0; ///< of its kind: the first or the second
    };
    /// What a table holds. A measurement is made from one table: its parts belong to one moment.
    struct Plan {
        Places at;
        std::vector<Sensor> inertial, barometers;
        std::int64_t period_ns = 0; ///< between rows; 0: not told
        std::int64_t t_row_ns = 0;  ///< of the newest row
        bool fix = false, mag = false, onboard = false, wind = false, engine = false;
        bool is_earth_centred = false; ///< the fix's position
    };
    void add_sensors(const ChannelTable& table, Plan& plan);
    [[nodiscard]] FixSample make_fix(const Plan& plan, const DecodedRow& row, std::int64_t t_ns) noexcept;
    /// The end of the interval of which an inertial sample is the mean.
    [[nodiscard]] std::int64_t interval_end_ns(Plan& plan, std::int64_t t_ns) const noexcept;
    void route_inertial(Plan& plan, const DecodedRow& row, std::int64_t t_ns, estimate::EstimatorChain& chain,
                        EstimateSink& sink);

    const Site* site_;
    SensorNoise sensors_;
    std::vector<Plan> plans_; ///< by Dictionary::tables
    estimate::ChainInputs inputs_;
    std::array<double, 2> accel_range_mps2_{};
    std::size_t accelerometers_ = 0, barometers_ = 0;
    bool rates_apart_ = false; ///< in a table without accelerations, which come in another
    std::optional<AccelerometerChoice> accelerometer_;
    BarometerChoice barometer_;
    InertialPairing pairing_;
    FixTime fix_time_;
    double temperature_k_ = kNaN; ///< newest, for pressure that comes in another packet
    std::int64_t temperature_t_ns_ = 0;
};

} // namespace turnstone
