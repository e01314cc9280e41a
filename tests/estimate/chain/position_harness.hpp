#pragma once
/// Flies the simulator's sensors through a whole estimator chain, as much of them as a vehicle has, with silences and
/// reboots, and keeps what its tables say of position.
#include <functional>
#include <map>
#include <string>
#include <vector>

#include "server/estimate/chain/chain.hpp"
#include "shared/time.hpp"
#include "tests/support/scenario.hpp"
#include "tools/sim/avionics/sensors.hpp"
#include "tools/sim/fly.hpp"

namespace turnstone::test {

/// Rows of a chain's tables, by table name; columns by their name.
class TableKeeper final : public EstimateSink {
  public:
    struct Row {
        std::int64_t t_ns;
        std::vector<double> values;
    };
    explicit TableKeeper(const estimate::EstimatorChain& chain) : chain_(&chain) {}
    void row(std::size_t table, std::int64_t t_ns, std::span<const double> values) override {
        rows_[chain_->tables()[table].name].push_back({t_ns, {values.begin(), values.end()}});
    }
    void event(EstimateEvent event) override { events.push_back(std::move(event)); }
    [[nodiscard]] const std::vector<Row>& rows(const std::string& table) { return rows_[table]; }
    [[nodiscard]] bool has(const std::string& table) const {
        for (const TableDescription& about : chain_->tables())
            if (about.name == table) return true;
        return false;
    }
    [[nodiscard]] double value(const std::string& table, const Row& row, const std::string& column) const {
        for (const TableDescription& about : chain_->tables())
            for (std::size_t k = 0; about.name == table && k < about.columns.size(); ++k)
                if (about.columns[k].name == column) return row.values[k];
        throw std::out_of_range(table + "/" + column);
    }
    std::vector<EstimateEvent> events;

  private:
    const estimate::EstimatorChain* chain_;
    std::map<std::string, std::vector<Row>> rows_;
};

/// Which sensors a vehicle has, and when nothing of them arrives.
struct Equipment {
    bool accelerometer = true, gyro = true, pressure = true, fix = true;
    struct Silence {
        double from_s, to_s;
        bool reboot = false; ///< at its end
    };
    std::vector<Silence> silences = {};
    int one_fix_in = 1;

    [[nodiscard]] estimate::ChainInputs inputs() const {
        estimate::ChainInputs out;
        out.accel_axial = out.accel_lateral = accelerometer;
        out.rates = gyro;
        out.pressure = pressure;
        out.fix = fix;
        return out;
    }
};

inline constexpr std::int64_t kPositionStart_ns = 1'700'000'000'000'000'000;
inline std::int64_t position_ns(double t_s) {
    return kPositionStart_ns + seconds_to_ns(t_s);
}

/// From `from_s` to `to_s` of the run; `after_tick(t_s)` follows each tick, ten a second.
inline void fly_chain(const sim::SensorStream& sensors, const Site& site, const Equipment& has, double from_s,
                      double to_s, estimate::EstimatorChain& chain, EstimateSink& sink,
                      const std::function<void(double)>& after_tick = {}) {
    std::size_t imu = 0, pressure = 0, fix = 0;
    std::vector<bool> rebooted(has.silences.size());
    for (double t_s = from_s; t_s < to_s; t_s += sim::kImuPeriod_s) {
        bool silent = false;
        for (std::size_t k = 0; k < has.silences.size(); ++k) {
            const auto& silence = has.silences[k];
            silent |= t_s >= silence.from_s && t_s < silence.to_s;
            if (silence.reboot && t_s >= silence.to_s && !rebooted[k]) {
                rebooted[k] = true;
                chain.reboot();
            }
        }
        const auto due = [&](const auto& readings, std::size_t& next, auto&& take) {
            for (; next < readings.size() && readings[next].t_s <= t_s; ++next)
                if (readings[next].t_s > from_s && !silent) take(readings[next]);
        };
        const Eigen::Vector3d none = Eigen::Vector3d::Constant(kNaN);
        due(
            sensors.imu, imu,
            [&](const sim::ImuReading& r) {
                if (has.accelerometer || has.gyro)
                    chain.imu({position_ns(r.t_s), has.accelerometer ? r.accel_body_mps2 : none,
                               has.gyro ? r.rate_body_radps : none},
                              sink);
            });
        due(sensors.pressure, pressure, [&](const sim::PressureReading& r) {
            if (has.pressure) chain.pressure({position_ns(r.t_s), r.pressure_pa, r.temperature_k}, sink);
        });
        due(
            sensors.fix, fix,
            [&](const sim::FixReading& r) {
                if (!has.fix || fix % static_cast<std::size_t>(has.one_fix_in) != 0) return;
                chain.fix({position_ns(r.t_s), r.latitude_deg, r.longitude_deg, r.height_msl_m + site.geoid_height_m,
                           r.velocity_enu_mps, r.fix_dimensions, r.accuracy_horizontal_m, r.accuracy_vertical_m,
                           r.satellites},
                          sink);
            });
        const auto tick = [](double at_s) { return static_cast<std::int64_t>(at_s * 10 + 1e-6); };
        if (tick(t_s) != tick(t_s - sim::kImuPeriod_s)) {
            chain.tick(position_ns(t_s), sink);
            if (after_tick) after_tick(t_s);
        }
    }
}

} // namespace turnstone::test
