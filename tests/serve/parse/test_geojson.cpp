// GeoJSON beside the site file, against the examples of RFC 7946 itself (section 1.5 and appendix A).
#include <filesystem>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

#include "server/serve/parse/geojson.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

std::string example(const std::string& name) {
    return read_file(source_path("tests/fuzz/corpus/geojson/" + name));
}

/// "area 5 5 Well": kind, points of each part, name.
std::string told(const MapShape& shape) {
    std::string out(word(shape.kind));
    for (const auto& part : shape.parts) out += " " + std::to_string(part.size());
    return shape.name.empty() ? out : out + " " + shape.name;
}

} // namespace

TEST_CASE("every geometry of RFC 7946 becomes points, lines and areas") {
    struct Case {
        const char* name;
        std::vector<std::string> shapes;
    };
    const std::vector<Case> table{
        {"rfc_7946_section_1_5", {"point 1", "line 4", "area 5"}},
        {"rfc_7946_a_3_holes", {"area 5 5"}},
        {"rfc_7946_a_4", {"point 1", "point 1"}},
        {"rfc_7946_a_5", {"line 2", "line 2"}},
        {"rfc_7946_a_6", {"area 5", "area 5 5"}},
        {"rfc_7946_a_7", {"point 1", "line 2"}},
        {"null_geometry", {}},
        {"named", {"point 1 Well"}},
    };
    for (const Case& one : table) {
        INFO(one.name);
        const auto shapes = parse_geojson(example(one.name));
        REQUIRE(shapes);
        std::vector<std::string> all;
        for (const MapShape& shape : *shapes) all.push_back(told(shape));
        CHECK(all == one.shapes);
    }
    // Longitude stands first (section 3.1.1).
    const auto shapes = parse_geojson(example("rfc_7946_section_1_5"));
    CHECK(shapes->at(1).parts.at(0).at(1) == MapPoint{.latitude_deg = 1.0, .longitude_deg = 103.0});
}

TEST_CASE("a file that is not of RFC 7946 is refused with the place and the reason") {
    struct Case {
        std::string text;
        const char* says;
    };
    const std::string too_many = [] {
        std::string text = R"({"type":"MultiPoint","coordinates":[[0,0])";
        for (std::size_t i = 0; i < kShapePointsMax; ++i) text += ",[0,0]";
        return text + "]}";
    }();
    const std::vector<Case> table{
        {"", "is not JSON"},
        {"[]", "(whole file) is not a GeoJSON object"},
        {"{}", "/type is none of the nine types"},
        {R"({"type":"Circle","coordinates":[0,0]})", "/type is none of the nine types"},
        {R"({"type":"FeatureCollection"})", "/features is missing"},
        {R"({"type":"FeatureCollection","features":{}})", "/features is not a list"},
        {R"({"type":"FeatureCollection","features":[7]})", "/features/0 is not a GeoJSON object"},
        {R"({"type":"Feature","properties":{}})", "/geometry is missing"},
        {R"({"type":"Feature","geometry":{"type":"Point","coordinates":[0,0]},"properties":{"name":")" +
             std::string(kShapeNameBytesMax + 1, 'n') + R"("}})",
         "/properties/name is longer"},
        {R"({"type":"Point"})", "/coordinates is not a position"},
        {R"({"type":"Point","coordinates":["0",0]})", "/coordinates is not a position"},
        {R"({"type":"Point","coordinates":[0]})", "/coordinates is not a position"},
        {R"({"type":"Point","coordinates":[47.2,-120.5]})", "/coordinates lies off the earth"},
        {R"({"type":"Point","coordinates":[181,0]})", "/coordinates lies off the earth"},
        {R"({"type":"LineString","coordinates":[[0,0]]})", "/coordinates has fewer than 2 positions"},
        {R"({"type":"Polygon","coordinates":[]})", "/coordinates has no outline"},
        {R"({"type":"Polygon","coordinates":[[[0,0],[1,0],[0,0]]]})", "/coordinates/0 has fewer than 4 positions"},
        {example("open_ring"), "/coordinates/0 does not end where it begins"},
        {R"({"type":"Point","coordinates":[0,0],"crs":{}})", "/crs is not of RFC 7946"},
        {example("nested"), "is nested too deeply"},
        {std::string(100'000, '['), "is nested more deeply"},
        {too_many, "is one position more than the 20000"},
    };
    for (const Case& one : table) {
        INFO(one.text.substr(0, 100));
        const auto shapes = parse_geojson(one.text);
        REQUIRE_FALSE(shapes);
        CHECK_THAT(shapes.error().message, Catch::Contains(one.says));
    }
}
