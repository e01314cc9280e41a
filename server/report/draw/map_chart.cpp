#include "server/report/draw/map_chart.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "server/report/draw/scale.hpp"
#include "server/report/draw/svg.hpp"
#include "server/report/text/figure.hpp"

namespace turnstone::report {

namespace {

constexpr double kMapWidth = 688;
constexpr double kMapHeight = 380;
constexpr double kMapEdge = 18;

/// Metres to paper, the same both ways, with everything in view.
class MapScale {
  public:
    MapScale(const Range& east, const Range& north) {
        const double wide = east.high - east.low;
        const double high = north.high - north.low;
        per_m_ = std::min((kMapWidth - 2 * kMapEdge) / wide, (kMapHeight - 2 * kMapEdge) / high);
        left_ = 0.5 * kMapWidth - per_m_ * 0.5 * (east.low + east.high);
        top_ = 0.5 * kMapHeight + per_m_ * 0.5 * (north.low + north.high);
    }
    [[nodiscard]] double x(double east_m) const { return left_ + per_m_ * east_m; }
    [[nodiscard]] double y(double north_m) const { return top_ - per_m_ * north_m; }
    [[nodiscard]] double length(double m) const { return per_m_ * m; }

  private:
    double per_m_, left_, top_;
};

/// Where the ring is in view: above the pad, below it, or beside it.
void label_ring(const MapScale& scale, double distance_m, Markup& svg) {
    const std::string label = fixed(distance_m, 0) + "\u00a0m";
    constexpr double kRoom = 14;
    for (const double side : {1.0, -1.0}) {
        const double y = scale.y(side * distance_m);
        if (y < kRoom || y > kMapHeight - kRoom) continue;
        svg += svg::text("small over middle", scale.x(0), y + 3.5, label);
        return;
    }
    for (const double side : {1.0, -1.0}) {
        const double x = scale.x(side * distance_m);
        if (x < 2 * kRoom || x > kMapWidth - 2 * kRoom) continue;
        svg += svg::text("small over middle", x, scale.y(0) + 3.5, label);
        return;
    }
}

} // namespace

Markup drawn(const MapChart& chart) {
    RangeOf east;
    RangeOf north;
    const auto see = [&](double e, double n) {
        if (!std::isfinite(e) || !std::isfinite(n)) return;
        east.add(e);
        north.add(n);
    };
    see(-100, -100); // the pad, and some ground around it; the boundary is drawn as far as it is in view
    see(100, 100);
    for (const MapTrack& track : chart.tracks)
        for (std::size_t i = 0; i < track.east_m.size(); ++i) see(track.east_m[i], track.north_m[i]);
    for (const MapPlace& place : chart.places) see(place.east_m, place.north_m);
    for (const MapEllipse& ellipse : chart.ellipses)
        for (const double side : {-1.0, 1.0})
            see(ellipse.east_m + side * ellipse.semi_major_m, ellipse.north_m + side * ellipse.semi_major_m);
    const MapScale scale(east.range(), north.range());

    Markup svg = svg::box("pane", 0, 0, kMapWidth, kMapHeight);
    // Rings around the pad at round distances.
    const Range reach{0, 0.5 * std::hypot(kMapWidth, kMapHeight) / scale.length(1)};
    for (const double distance_m : round_values(reach, 4)) {
        if (distance_m <= 0) continue;
        svg += svg::circle("grid ring", scale.x(0), scale.y(0), scale.length(distance_m));
        label_ring(scale, distance_m, svg);
    }
    const auto corners = [&](const std::vector<double>& e, const std::vector<double>& n, bool closed) {
        std::vector<double> x;
        std::vector<double> y;
        for (std::size_t i = 0; i < e.size(); ++i) {
            x.push_back(scale.x(e[i]));
            y.push_back(scale.y(n[i]));
        }
        return closed ? svg::path("limit", x, y, true) : svg::path("line s1", x, y);
    };
    svg += corners(chart.boundary_east_m, chart.boundary_north_m, true);
    for (const MapTrack& track : chart.tracks) svg += corners(track.east_m, track.north_m, false);
    for (const MapEllipse& ellipse : chart.ellipses) {
        const double x = scale.x(ellipse.east_m);
        const double y = scale.y(ellipse.north_m);
        const double along = scale.length(ellipse.semi_major_m);
        svg += svg::ellipse("ellipse", x, y, scale.length(ellipse.semi_minor_m), along, ellipse.bearing_deg);
        svg += svg::text("small over middle", x, std::max(12.0, y - along - 4), ellipse.label);
    }
    // The western ones have their label at the left, so that two that lie close do not write over each other.
    double middle_m = 0;
    for (const MapPlace& place : chart.places) middle_m += place.east_m / static_cast<double>(chart.places.size());
    for (const MapPlace& place : chart.places) {
        const double x = scale.x(place.east_m);
        const double y = scale.y(place.north_m);
        svg += svg::circle("place", x, y, 3);
        svg += place.east_m < middle_m ? svg::text("over bold end", x - 6, y + 4, place.label)
                                       : svg::text("over bold", x + 6, y + 4, place.label);
    }
    svg += svg::line("edge solid", kMapWidth - 20, 34, kMapWidth - 20, 14);
    svg += svg::path("place", {kMapWidth - 24, kMapWidth - 20, kMapWidth - 16}, {18, 10, 18}, true);
    svg += svg::text("small middle", kMapWidth - 20, 46, "north");
    return svg::drawing(kMapWidth, kMapHeight, "Map of the site, north up", svg);
}

} // namespace turnstone::report
