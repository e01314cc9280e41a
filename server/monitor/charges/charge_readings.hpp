#pragma once
/// The last half minute of what a vehicle measures, for the analysis of a charge: readings by role, what was heard and
/// lost, restarts. Holds no more than kMost readings of a quantity.
#include <array>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <optional>
#include <utility>
#include <vector>

#include "server/analysis/charge/findings.hpp"
#include "server/pipeline/batch.hpp"
#include "server/pipeline/setup.hpp"

namespace turnstone {

class ChargeReadings {
  public:
    /// `vehicle`: its place in the setup. `schema` must outlive it.
    ChargeReadings(const PipelineSetup& setup, const Schema& schema, std::size_t vehicle);

    void see(const Batch& batch, Marks from);
    void restarted(std::int64_t t_ns) { restarts_ns_.push_back(t_ns); }
    void forget(std::int64_t t_ns);

    /// Around `t_ns`, which is its zero; `now_ns`: until when there is something.
    [[nodiscard]] analysis::ChargeRecord around(std::int64_t t_ns, double sigma_s, std::int64_t now_ns) const;

  private:
    enum class Quantity : unsigned char {
        current,
        bay,
        burst_axial,
        burst_turn,
        burst_battery,
        pressure,
        accel_x,
        accel_y,
        accel_z,
        rate_x,
        rate_y,
        rate_z,
        battery,
        temperature
    };
    static constexpr std::size_t kQuantities = static_cast<std::size_t>(Quantity::temperature) + 1;
    struct Place {
        Quantity quantity;
        std::size_t column;
        std::optional<std::pair<double, double>> valid;
    };
    struct Source {
        std::vector<Place> places;
        bool always = true;        ///< comes whether a charge fires or not
        std::int64_t later_ns = 0; ///< from a row's time to the end of what its inertial readings are means over
    };
    struct Kept {
        std::int64_t t_ns;
        double value;
    };
    struct Loss {
        std::int64_t t_ns;
        double packets;
    };
    struct Counter {
        std::int32_t apid, count;
        std::uint32_t boot;
    };
    static constexpr std::size_t kMost = 60'000;

    void find_places(const SensorNoise& sensors, const Table& table);
    void see_frame(const FrameRecord& frame);
    [[nodiscard]] analysis::Signal signal(Quantity quantity, std::int64_t t_zero_ns) const;

    const Schema* schema_;
    double accel_range_mps2_, gyro_range_radps_;
    std::vector<std::optional<Source>> sources_; ///< by table
    std::array<std::deque<Kept>, kQuantities> kept_;
    std::array<double, kQuantities> mean_over_s_{};
    std::array<int, kQuantities> table_; ///< the first with the role; -1: none
    std::deque<std::int64_t> heard_ns_;
    std::deque<Loss> losses_;
    std::vector<Counter> counters_;
    std::deque<std::int64_t> restarts_ns_;
};

} // namespace turnstone
