// Any bytes beside the site file give shapes that can be drawn, or a sentence.
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string_view>

#include "server/serve/parse/geojson.hpp"

using namespace turnstone;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const auto shapes = parse_geojson({reinterpret_cast<const char*>(data), size});
    if (!shapes) {
        if (shapes.error().message.empty()) std::abort();
        return 0;
    }
    std::size_t points = 0;
    for (const MapShape& shape : *shapes) {
        if (shape.parts.empty() || shape.name.size() > kShapeNameBytesMax) std::abort();
        for (const auto& part : shape.parts) {
            const std::size_t least = shape.kind == ShapeKind::point ? 1 : shape.kind == ShapeKind::line ? 2 : 4;
            if (part.size() < least) std::abort();
            if (shape.kind == ShapeKind::area && part.front() != part.back()) std::abort();
            points += part.size();
            for (const MapPoint& point : part)
                if (!(std::abs(point.latitude_deg) <= 90 && std::abs(point.longitude_deg) <= 180)) std::abort();
        }
    }
    if (points > kShapePointsMax) std::abort();
    return 0;
}
