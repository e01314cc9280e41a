#pragma once
#include <cstdint>

#include "server/estimate/phases/phase.hpp"
#include "server/pipeline/batch.hpp"
#include "server/pipeline/series.hpp"

namespace turnstone {

/// What is known of one vehicle's flight at a tick, in plain numbers.
struct FlightView {
    std::int64_t t_ns = 0; ///< of the tick
    estimate::Phase phase = estimate::Phase::on_rail;
};

/// Keeps a vehicle's FlightView up to date from the rows and events of batches.
class FlightViewer {
  public:
    /// `vehicle`: its place in the setup.
    FlightViewer(const Schema& schema, int vehicle);
    /// What was appended to `batch` since `from`.
    void see(const Batch& batch, Marks from);
    [[nodiscard]] const FlightView& at(std::int64_t t_ns);

  private:
    int vehicle_;
    FlightView view_;
};

} // namespace turnstone
