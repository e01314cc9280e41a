// Positions as GDAL and the schemas see them.
#include <catch2/catch.hpp>

#include <array>
#include <cmath>
#include <cstdlib>
#include <limits>
#include <map>

#include "server/exchange/export.hpp"
#include "tests/exchange/flown.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using namespace turnstone::exchange;
using namespace turnstone::exchange_test;
using nlohmann::json;

namespace {

std::string schema(const std::string& name) {
    return test::source_path("tests/reference/schemas/" + name).string();
}

/// Whether xmllint takes the file, by a schema if one is named.
bool is_taken(const std::filesystem::path& file, const std::string& by_schema = "") {
    const std::string option = by_schema.empty() ? "" : "--schema " + schema(by_schema) + " ";
    return std::system(("xmllint --noout " + option + file.string() + " >/dev/null 2>&1").c_str()) == 0;
}

/// Positions [longitude, latitude, height] of the rows of fixes, as the recording's page reader gives them.
std::vector<std::array<double, 3>> stored_fixes(RecordingReader& reader, double geoid_m) {
    Batch batch;
    reader.rows(0, std::numeric_limits<std::int64_t>::max(), std::numeric_limits<std::size_t>::max(), batch);
    std::vector<std::array<double, 3>> out;
    for (const Table& table : reader.schema().tables) {
        if (table.name != "sanderling/fix") continue;
        const auto column = [&](const std::string& name) {
            for (std::size_t c = 0; c < table.columns.size(); ++c)
                if (table.columns[c].name == name) return c;
            throw std::runtime_error(name);
        };
        for (const RowRecord& row : batch.rows) {
            if (row.table != table.id) continue;
            const auto numbers = batch.numbers_of(row, table);
            if (numbers[column("fix_dimensions")] < 2) continue;
            out.push_back(
                {numbers[column("longitude")], numbers[column("latitude")], numbers[column("height_msl")] + geoid_m});
        }
    }
    return out;
}

/// Coordinates of all lines that GDAL finds in a layer, in their order.
std::vector<std::array<double, 3>> positions_by_gdal(const std::filesystem::path& file, const std::string& layer,
                                                     const std::string& name) {
    const json read = json::parse(
        output_of("ogr2ogr --config GPX_ELE_AS_25D YES -f GeoJSON -lco COORDINATE_PRECISION=9 /vsistdout/ " +
                  file.string() + " " + layer));
    std::vector<std::array<double, 3>> out;
    for (const json& feature : read.at("features")) {
        const json& properties = feature.at("properties");
        if (!name.empty() && properties.value("name", properties.value("Name", "")) != name) continue;
        const json& geometry = feature.at("geometry");
        const auto add = [&](const json& at) { out.push_back({at.at(0), at.at(1), at.at(2)}); };
        if (geometry.at("type") == "Point") add(geometry.at("coordinates"));
        if (geometry.at("type") == "LineString")
            for (const json& at : geometry.at("coordinates")) add(at);
    }
    return out;
}

void check_same(const std::vector<std::array<double, 3>>& found, const std::vector<std::array<double, 3>>& expected) {
    REQUIRE(found.size() == expected.size());
    for (std::size_t i = 0; i < found.size(); ++i) {
        INFO(i);
        CHECK(std::abs(found[i][0] - expected[i][0]) < 1e-8); // as rounded: half the last digit, and GDAL's own
        CHECK(std::abs(found[i][1] - expected[i][1]) < 1e-8);
        CHECK(std::abs(found[i][2] - expected[i][2]) < 1e-3);
    }
}

} // namespace

TEST_CASE("the schema of GPX judges the reference's documents as the published one did") {
    const test::TemporaryFolder folder;
    std::size_t documents = 0;
    for (const json& each : test::read_reference("formats/geo.json").at("gpx")) {
        const auto file = folder.write("document.gpx", each.at("document"));
        INFO(each.at("id"));
        CHECK(is_taken(file, "gpx.xsd") == (each.at("well_formed") == true && each.at("schema_valid") == true));
        ++documents;
    }
    CHECK(documents == 20);
}

TEST_CASE("the reference's documents of KML are read as GDAL did, and the schema takes points and lines only") {
    const test::TemporaryFolder folder;
    // The standard refuses a blank within a tuple (remark of the reference). A Polygon and a Track it has, and our
    // schema has not: we write neither, and GDAL 3.6.2 finds nothing in a Track.
    const std::map<std::string, bool> taken{
        {"point", true}, {"line", true}, {"blank_in_tuple", false}, {"polygon", false}, {"track_23", false}};
    const json documents = test::read_reference("formats/geo.json").at("kml");
    CHECK(documents.size() == taken.size());
    for (const json& each : documents) {
        INFO(each.at("id"));
        const auto file = folder.write("document.kml", each.at("document"));
        CHECK(is_taken(file) == each.at("well_formed"));
        CHECK(is_taken(file, "kml.xsd") == taken.at(each.at("id")));
        const json read = json::parse(output_of("ogr2ogr -f GeoJSON /vsistdout/ " + file.string()));
        json geometries = json::array();
        for (const json& feature : read.at("features")) geometries.push_back(feature.at("geometry"));
        CHECK(geometries == each.at("gdal_geometries"));
    }
}

TEST_CASE("tracks are valid, and GDAL finds every fix where it was") {
    const test::TemporaryFolder folder;
    auto reader = RecordingReader::open(flown().recording);
    REQUIRE(reader);
    const double geoid_m = reader->description().site.geoid_height_m;
    REQUIRE(std::abs(geoid_m) > 1); // else the two heights could not be told apart
    const auto write = [&](const std::string& format) {
        auto file = folder.path() / ("track." + format);
        const auto request = read_export_words({format, "sanderling/fix"}, kStart_ns);
        REQUIRE(request);
        const auto written = export_recording(*reader, *request, file, kGoOn);
        INFO((written ? "" : written.error().message));
        REQUIRE(written);
        return file;
    };
    const auto above_sea = stored_fixes(*reader, 0), above_ellipsoid = stored_fixes(*reader, geoid_m);
    REQUIRE(above_sea.size() > 60);

    const auto gpx = write("gpx");
    output_of("xmllint --noout --schema " + schema("gpx.xsd") + " " + gpx.string() + " 2>&1");
    check_same(positions_by_gdal(gpx, "track_points", ""), above_sea);

    const auto kml = write("kml");
    output_of("xmllint --noout --schema " + schema("kml.xsd") + " " + kml.string() + " 2>&1");
    check_same(positions_by_gdal(kml, "", "sanderling/fix"), above_sea);

    const auto geojson = write("geojson");
    check_same(positions_by_gdal(geojson, "", "sanderling/fix"), above_ellipsoid);
    const json lines = json::parse(test::read_file(geojson));
    for (const json& feature : lines.at("features")) {
        const json& at = feature.at("geometry").at("coordinates");
        const std::size_t positions = feature.at("geometry").at("type") == "Point" ? 1 : at.size();
        CHECK(feature.at("properties").at("utc").size() == positions);
    }
}

TEST_CASE("the flight's events stand where the vehicle was") {
    const test::TemporaryFolder folder;
    auto reader = RecordingReader::open(flown().recording);
    REQUIRE(reader);
    const auto file = folder.path() / "flight.geojson";
    REQUIRE(export_recording(*reader, *read_export_words({"geojson", ""}, kStart_ns), file, kGoOn));
    std::map<std::string, double> height_m;
    const json written = json::parse(test::read_file(file));
    for (const json& feature : written.at("features"))
        if (feature.at("geometry").at("type") == "Point")
            height_m[feature.at("properties").at("name")] = feature.at("geometry").at("coordinates").at(2);
    const double pad_m = reader->description().site.pad.height_m;
    std::size_t found = 0;
    for (const auto& [name, above_m] : height_m) {
        INFO(name << " " << above_m - pad_m);
        const double up_m = above_m - pad_m;
        const bool is_liftoff = name.find("Liftoff") != std::string::npos;
        const bool is_apogee = name.find("Apogee") != std::string::npos;
        if (is_liftoff) CHECK(std::abs(up_m) < 30);
        if (is_apogee) CHECK(up_m > 500);
        found += is_liftoff || is_apogee ? 1 : 0;
    }
    CHECK(found == 2);
}
