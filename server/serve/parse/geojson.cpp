#include "server/serve/parse/geojson.hpp"

#include <cmath>
#include <optional>
#include <utility>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "shared/json_reader.hpp"

namespace turnstone {
namespace {

using nlohmann::json;

constexpr std::size_t kDepthMax = 8; ///< of collections in collections
constexpr std::size_t kRingLeast = 4, kLineLeast = 2;

using Points = std::vector<MapPoint>;

/// Gathers shapes until the first mistake, whose place and reason it keeps.
class Shapes {
  public:
    [[nodiscard]] std::vector<MapShape> take() { return std::move(shapes_); }
    [[nodiscard]] const std::string& wrong() const noexcept { return wrong_; }

    void object(const json& value, const std::string& name, const std::string& at, std::size_t depth) {
        if (!wrong_.empty()) return;
        if (depth > kDepthMax) return refuse(at, "is nested too deeply");
        if (!value.is_object()) return refuse(at, "is not a GeoJSON object");
        if (value.contains("crs"))
            return refuse(at + "/crs", "is not of RFC 7946, whose coordinates are WGS 84 always");
        const std::string type = text_of(value, "type");
        if (type == "FeatureCollection") return each(value, "features", name, at, depth);
        if (type == "GeometryCollection") return each(value, "geometries", name, at, depth);
        if (type == "Feature") return feature(value, at, depth);
        geometry(value, type, name, at);
    }

  private:
    void refuse(const std::string& at, const std::string& why) {
        if (wrong_.empty()) wrong_ = (at.empty() ? "(whole file)" : at) + " " + why;
    }

    static std::string text_of(const json& object, const char* name) {
        const auto found = object.find(name);
        return found != object.end() && found->is_string() ? found->get<std::string>() : std::string();
    }

    /// `member` is a list; calls for each entry with its place.
    template <class Call>
    void list(const json& value, const std::string& at, Call&& call) {
        if (!value.is_array()) return refuse(at, "is not a list");
        for (std::size_t i = 0; i < value.size() && wrong_.empty(); ++i) call(value[i], at + "/" + std::to_string(i));
    }

    void each(const json& value, const char* member, const std::string& name, const std::string& at,
              std::size_t depth) {
        const std::string place = at + "/" + member;
        const auto found = value.find(member);
        if (found == value.end()) return refuse(place, "is missing");
        list(*found, place,
             [&](const json& entry, const std::string& where) { object(entry, name, where, depth + 1); });
    }

    void feature(const json& value, const std::string& at, std::size_t depth) {
        const auto found = value.find("geometry");
        if (found == value.end()) return refuse(at + "/geometry", "is missing");
        if (found->is_null()) return;
        const auto properties = value.find("properties");
        std::string name =
            properties != value.end() && properties->is_object() ? text_of(*properties, "name") : std::string();
        if (name.size() > kShapeNameBytesMax)
            return refuse(at + "/properties/name",
                          fmt::format("is longer than the {} bytes that a map has room for", kShapeNameBytesMax));
        object(*found, name, at + "/geometry", depth + 1);
    }

    void geometry(const json& value, const std::string& type, const std::string& name, const std::string& at) {
        const std::string place = at + "/coordinates";
        const auto found = value.find("coordinates");
        const json& given = found == value.end() ? json() : *found;
        const auto one = [&](ShapeKind kind) {
            return
                [this, kind, &name](const json& entry, const std::string& where) { shape(kind, entry, name, where); };
        };
        if (type == "Point") return shape(ShapeKind::point, given, name, place);
        if (type == "LineString") return shape(ShapeKind::line, given, name, place);
        if (type == "Polygon") return shape(ShapeKind::area, given, name, place);
        if (type == "MultiPoint") return list(given, place, one(ShapeKind::point));
        if (type == "MultiLineString") return list(given, place, one(ShapeKind::line));
        if (type == "MultiPolygon") return list(given, place, one(ShapeKind::area));
        refuse(at + "/type", "is none of the nine types of RFC 7946");
    }

    void shape(ShapeKind kind, const json& coordinates, const std::string& name, const std::string& at) {
        MapShape out{kind, name, {}};
        switch (kind) {
        case ShapeKind::point:
            if (const auto point = position(coordinates, at)) out.parts.push_back({*point});
            break;
        case ShapeKind::line: out.parts.push_back(positions(coordinates, at, kLineLeast)); break;
        case ShapeKind::area:
            list(coordinates, at, [&](const json& entry, const std::string& where) {
                Points ring = positions(entry, where, kRingLeast);
                if (wrong_.empty() && ring.front() != ring.back()) refuse(where, "does not end where it begins");
                out.parts.push_back(std::move(ring));
            });
            if (wrong_.empty() && out.parts.empty()) refuse(at, "has no outline");
        }
        if (wrong_.empty()) shapes_.push_back(std::move(out));
    }

    Points positions(const json& value, const std::string& at, std::size_t least) {
        Points points;
        list(value, at, [&](const json& entry, const std::string& where) {
            if (const auto point = position(entry, where)) points.push_back(*point);
        });
        if (wrong_.empty() && points.size() < least) refuse(at, fmt::format("has fewer than {} positions", least));
        return points;
    }

    /// Longitude first; what follows the two is a height.
    std::optional<MapPoint> position(const json& value, const std::string& at) {
        const bool is_pair = value.is_array() && value.size() >= 2 && value[0].is_number() && value[1].is_number();
        if (!is_pair) {
            refuse(at, "is not a position, which is longitude and latitude in degrees");
            return std::nullopt;
        }
        const MapPoint point{.latitude_deg = value[1].get<double>(), .longitude_deg = value[0].get<double>()};
        if (!(std::abs(point.latitude_deg) <= 90) || !(std::abs(point.longitude_deg) <= 180)) {
            refuse(at, "lies off the earth: longitude stands first, then latitude");
            return std::nullopt;
        }
        if (++points_ > kShapePointsMax) {
            refuse(at, fmt::format("is one position more than the {} that a map has room for", kShapePointsMax));
            return std::nullopt;
        }
        return point;
    }

    std::vector<MapShape> shapes_;
    std::string wrong_;
    std::size_t points_ = 0;
};

} // namespace

Result<std::vector<MapShape>> parse_geojson(std::string_view text) {
    std::vector<Problem> problems;
    const auto parsed = parse_json_text(text, "", problems);
    if (!parsed) return fail(problems.empty() ? "is not JSON" : problems.front().wrong);
    Shapes shapes;
    shapes.object(*parsed, "", "", 0);
    if (!shapes.wrong().empty()) return fail(shapes.wrong());
    return shapes.take();
}

} // namespace turnstone
