#pragma once
/// What people draw on the map beside the site file: GeoJSON, RFC 7946. Any text gives shapes or a sentence.
#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "shared/result.hpp"
#include "shared/words.hpp"

namespace turnstone {

enum class ShapeKind : unsigned char { point, line, area };
consteval auto words_of(ShapeKind) {
    return words<ShapeKind::area>("point", "line", "area");
}

struct MapPoint {
    double latitude_deg, longitude_deg;
    friend bool operator==(const MapPoint&, const MapPoint&) = default;
};

struct MapShape {
    ShapeKind kind;
    std::string name; ///< the feature's property "name"; empty: none
    /// A point has one of one; an area its outline and then its holes, each closed as RFC 7946 has it.
    std::vector<std::vector<MapPoint>> parts;
    friend bool operator==(const MapShape&, const MapShape&) = default;
};

/// No range needs more, and a phone would have to draw it.
inline constexpr std::size_t kShapePointsMax = 20'000;
inline constexpr std::size_t kShapeNameBytesMax = 120;

/// Features and geometries, however they are nested; a feature without a geometry gives none. Heights, bounding boxes
/// and members that RFC 7946 does not define are passed over.
[[nodiscard]] Result<std::vector<MapShape>> parse_geojson(std::string_view text);

} // namespace turnstone
