#pragma once
/// The tables "air", "vertical", "phase" and "derived". Rows: "air" for each usable pressure, "vertical" for each
/// estimate taken, "phase" and "derived" at each change and every second.
#include <optional>
#include <vector>

#include "server/estimate/chain/flight_estimator.hpp"
#include "server/estimate/chain/picture.hpp"
#include "server/estimate/table.hpp"

namespace turnstone::estimate {

/// What the table "phase" is filled from.
struct PhaseFigures {
    Phase phase;
    double in_phase_s;
    double since_liftoff_s;
};

[[nodiscard]] TableOf<AirPicture> air_table();
[[nodiscard]] TableOf<VerticalEstimate> vertical_table();
[[nodiscard]] TableOf<PhaseFigures> phase_table();

class FlightReport {
  public:
    /// Appends its tables to `tables`.
    FlightReport(bool has_pressure, std::vector<TableDescription>& tables);

    void write(const FlightEstimator::News& news, const FlightPicture& picture, EstimateSink& sink);

  private:
    // In the order in which they are shown.
    RowWriter<VerticalEstimate> vertical_;
    RowWriter<PhaseFigures> phase_;
    RowWriter<DerivedFigures> derived_;
    std::optional<RowWriter<AirPicture>> air_;
};

} // namespace turnstone::estimate
