#pragma once
/// The site from above in metres, north up: the pad, the track, where it came down and where it was said to.
#include <string>
#include <vector>

#include "server/report/page/markup.hpp"

namespace turnstone::report {

/// All in metres east and north of the pad.
struct MapTrack {
    std::vector<double> east_m, north_m; ///< NaN breaks it
};

struct MapPlace {
    double east_m;
    double north_m;
    std::string label;
};

struct MapEllipse {
    double east_m, north_m;
    double semi_major_m, semi_minor_m;
    double bearing_deg; ///< of the longer axis
    std::string label;
};

struct MapChart {
    std::vector<double> boundary_east_m, boundary_north_m; ///< closed implicitly; empty: none
    std::vector<MapTrack> tracks;
    std::vector<MapPlace> places;
    std::vector<MapEllipse> ellipses;
};

[[nodiscard]] Markup drawn(const MapChart& chart);

} // namespace turnstone::report
