#include "server/monitor/flight/last_place.hpp"

#include "shared/time.hpp"

namespace turnstone {

TableOf<Place> last_place_table() {
    using S = const Place&;
    TableOf<Place> table{"last_place", "Last good place", 0};
    table.add({"latitude_deg", "Latitude", "deg", "", 6, "WGS 84"}, [](S p) { return p.latitude_deg; })
        .add({"longitude_deg", "Longitude", "deg", "", 6, "WGS 84"}, [](S p) { return p.longitude_deg; })
        .add({"altitude_msl_m", "Altitude MSL", "m", "", 0}, [](S p) { return p.altitude_msl_m; })
        .add({"east_m", "East of the pad", "m", "", 1}, [](S p) { return p.east_m; })
        .add({"north_m", "North of the pad", "m", "", 1}, [](S p) { return p.north_m; })
        .add({"horizontal_sigma_m", "Horizontal, 1-sigma", "m", "", 1, "Of each of the two before"},
             [](S p) { return p.sigma_m; });
    return table;
}

std::optional<Place> LastPlace::next(const FlightView& view) {
    const Place& place = view.place;
    if (!place.known() || place.t_ns <= t_fix_ns_ || seconds_between(t_row_ns_, view.t_ns) < kPeriod_s)
        return std::nullopt;
    t_fix_ns_ = place.t_ns;
    t_row_ns_ = view.t_ns;
    return place;
}

} // namespace turnstone
