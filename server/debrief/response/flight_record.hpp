#pragma once
/// What the response of a flight is worked out from: rates, deflections and air, by their roles and tables, on the
/// times of the rate sensor. A missing value is NaN; columns that the recording has not are empty.
#include <array>
#include <string>
#include <vector>

#include "server/analysis/statistics/summary.hpp"
#include "server/debrief/flights/open_flight.hpp"
#include "shared/vehicle.hpp"

namespace turnstone::debrief {

/// A channel as the answer names it.
struct RecordedChannel {
    std::string channel; ///< table.column
    std::string title, unit;
    std::vector<double> t_s, value; ///< as it came, since liftoff
    [[nodiscard]] bool empty() const { return value.empty(); }
};

struct FlightRecord {
    double burnout_s = 0, apogee_s = 0;       ///< since liftoff
    std::array<RecordedChannel, 3> rates;     ///< roll, pitch, yaw
    std::array<double, 3> rate_bias_radps{};  ///< means of the rest on the rail; 0 where there was none
    std::array<RecordedChannel, 3> commanded; ///< fins, the same order
    std::array<RecordedChannel, 3> measured;
    RecordedChannel shaken; ///< axial acceleration

    /// On the times of the roll rate, from burnout to apogee while the dynamic pressure is worth something.
    std::vector<double> t_s;
    std::array<std::vector<double>, 3> rate_radps; ///< biases taken off
    std::array<std::vector<double>, 3> commanded_rad, measured_rad;
    std::vector<double> dynamic_pressure_pa, airspeed_mps;
    double speed_sigma = 0; ///< of the airspeed over it, the same for the whole window

    Vehicle vehicle;
    double inertia_transverse_kg_m2 = analysis::kNone; ///< of vehicle.json, as the next
    double normal_force_slope_per_rad = analysis::kNone;
    std::vector<std::string> notes; ///< what is missing, for people

    [[nodiscard]] bool fins_measured(std::size_t axis) const { return !measured[axis].empty(); }
    [[nodiscard]] bool has_fins(std::size_t axis) const { return fins_measured(axis) || !commanded[axis].empty(); }
    /// Measured where they are, otherwise commanded.
    [[nodiscard]] const std::vector<double>& fin_rad(std::size_t axis) const {
        return fins_measured(axis) ? measured_rad[axis] : commanded_rad[axis];
    }
};

/// From and to, seconds since liftoff; NaN: burnout, apogee.
struct AskedWindow {
    double from_s, to_s;
};

/// Fails without rates, or with nothing between burnout and apogee.
[[nodiscard]] Result<FlightRecord> flight_record(OpenFlight& flight, AskedWindow asked);

} // namespace turnstone::debrief
