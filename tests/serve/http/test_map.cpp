// The map's overlays and tiles over HTTP.
#include <string>

#include <catch2/catch.hpp>

#include "server/record/format/sqlite.hpp"
#include "tests/serve/fixture.hpp"

using namespace turnstone;
using nlohmann::json;

namespace {

const std::string kJpeg = "\xff\xd8\xff picture";

void make_tiles(const std::filesystem::path& file) {
    Database database(file, Database::Mode::create);
    database.execute("CREATE TABLE metadata (name TEXT, value TEXT); INSERT INTO metadata VALUES ('format', 'jpg'), "
                     "('minzoom', '1'), ('maxzoom', '1'); CREATE TABLE tiles (zoom_level INTEGER, tile_column INTEGER, "
                     "tile_row INTEGER, tile_data BLOB)");
    Statement insert(database, "INSERT INTO tiles VALUES (1, 0, 1, ?1)");
    insert.bind(1, std::as_bytes(std::span(kJpeg)));
    insert.run();
}

} // namespace

TEST_CASE("the map gives its overlays and the tiles it has, and a sentence for what it has not") {
    const test::TemporaryFolder site;
    site.write(
        "well.geojson",
        R"({"type":"Feature","geometry":{"type":"Point","coordinates":[68.5,-47.25]},"properties":{"name":"Well"}})");
    site.write("torn.geojson", "{");
    make_tiles(site.path() / "range.mbtiles");
    const LiveServer live([&](ServeSettings& settings) { settings.map = read_site_map(site.path() / "site.json"); });
    const json map = live.get("/api/map").json();
    CHECK(map.at("overlays") == json::parse(R"([{"title":"well","shapes":[
        {"kind":"point","name":"Well","parts":[[[-47.25,68.5]]]}]}])"));
    CHECK(map.at("tiles") == json::parse(R"({"zoom_least":1,"zoom_most":1,"attribution":""})"));
    CHECK(map.at("problems").size() == 1);

    const HttpReply tile = live.get("/api/map/tiles/1/0/0");
    CHECK(tile.status == 200);
    CHECK(tile.body == kJpeg);
    CHECK(tile.field("Content-Type") == "image/jpeg");
    struct Case {
        const char* target;
        unsigned status;
    };
    for (const Case& one :
         {Case{"/api/map/tiles/1/1/0", 404}, Case{"/api/map/tiles/9/0/0", 404}, Case{"/api/map/tiles/1/0/-1", 400},
          Case{"/api/map/tiles/1/0/0.png", 400}, Case{"/api/map/tiles/99/0/0", 400}, Case{"/api/map/tiles/1/0", 404},
          Case{"/api/map/tiles/1/0/0?x=1", 400}, Case{"/api/map?x=1", 400}}) {
        INFO(one.target);
        const HttpReply reply = live.get(one.target);
        CHECK(reply.status == one.status);
        CHECK_FALSE(reply.json().at("error").get<std::string>().empty());
    }
    CHECK(live.post("/api/map", "{}").status == 405);
    CHECK(live.post("/api/map/tiles/1/0/0", "{}").status == 405);
}

TEST_CASE("a station without anything beside its site file has an empty map") {
    const LiveServer live;
    CHECK(live.get("/api/map").json() == json::parse(R"({"overlays":[],"tiles":null,"problems":[]})"));
    CHECK(live.get("/api/map/tiles/1/0/0").status == 404);
}
