#pragma once
/// The table "last_place": where a vehicle was at its newest measured position, with fixes in it. A row when there is a
/// newer one, at most once a second, and none otherwise: what was known last of a place stays, whatever is computed
/// later. A row's time is its fix's.
#include <cstdint>
#include <optional>

#include "server/estimate/table.hpp"
#include "server/monitor/flight/flight_view.hpp"

namespace turnstone {

[[nodiscard]] TableOf<Place> last_place_table();

class LastPlace {
  public:
    static constexpr double kPeriod_s = 1.0;

    /// At each tick: the row to write, if any. The last one before a silence comes, too, once a second has passed.
    [[nodiscard]] std::optional<Place> next(const FlightView& view);

  private:
    std::int64_t t_fix_ns_ = 0, t_row_ns_ = 0;
};

} // namespace turnstone
