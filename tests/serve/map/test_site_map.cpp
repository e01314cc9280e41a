// What stands beside the site file for the map, good and hostile. Tile packs are made here as MBTiles 1.3 says.
#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

#include "server/record/format/sqlite.hpp"
#include "server/serve/map/site_map.hpp"
#include "tests/support/temporary_folder.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

/// PNG (Third Edition), 5.2: signature; a reader of pictures looks no further here.
const std::string kPng = std::string("\x89PNG\r\n\x1a\n") + "north";

using Metadata = std::vector<std::pair<std::string, std::string>>;
const Metadata kGood = {
    {"name", "range"}, {"format", "png"}, {"minzoom", "2"}, {"maxzoom", "3"}, {"attribution", "drawn by hand"}};

Metadata with(const std::string& name, const std::string& value) {
    Metadata out = kGood;
    for (auto& [key, is] : out)
        if (key == name) is = value;
    return out;
}

/// A pack with one tile, zoom 2, column 1, row 3 from the south: the northernmost row.
void make_pack(const std::filesystem::path& file, const Metadata& metadata, const std::string& picture = kPng,
               const char* tiles = "CREATE TABLE tiles (zoom_level INTEGER, tile_column INTEGER, tile_row INTEGER, "
                                   "tile_data BLOB)") {
    Database database(file, Database::Mode::create);
    database.execute("CREATE TABLE metadata (name TEXT, value TEXT)");
    for (const auto& [name, value] : metadata) {
        Statement insert(database, "INSERT INTO metadata VALUES (?1, ?2)");
        insert.bind(1, std::string_view(name));
        insert.bind(2, std::string_view(value));
        insert.run();
    }
    database.execute(tiles);
    if (std::string_view(tiles).find("VIEW") != std::string_view::npos) return;
    Statement insert(database, "INSERT INTO tiles VALUES (2, 1, 3, ?1)");
    insert.bind(1, std::as_bytes(std::span(picture)));
    insert.run();
}

} // namespace

TEST_CASE("a tile pack gives its tiles by rows that count from north, and none where it has none") {
    const TemporaryFolder folder;
    const auto file = folder.path() / "range.mbtiles";
    make_pack(file, kGood);
    auto pack = TilePack::open(file);
    REQUIRE(pack);
    CHECK(pack->info().format == TileFormat::png);
    CHECK(pack->info().zoom_least == 2);
    CHECK(pack->info().zoom_most == 3);
    CHECK(pack->info().attribution == "drawn by hand");
    struct Case {
        int zoom;
        std::uint32_t x, y;
        bool there;
    };
    for (const Case& one : {Case{2, 1, 0, true}, Case{2, 1, 3, false}, Case{2, 0, 0, false}, Case{2, 4, 0, false},
                            Case{2, 1, 4, false}, Case{2, 1, 0xFFFFFFFF, false}, Case{1, 1, 0, false},
                            Case{3, 1, 0, false}, Case{-1, 0, 0, false}, Case{31, 0, 0, false}}) {
        INFO(one.zoom << "/" << one.x << "/" << one.y);
        const auto found = pack->tile(one.zoom, one.x, one.y);
        REQUIRE(found);
        CHECK(found->has_value() == one.there);
        if (*found) CHECK(**found == kPng);
    }
}

TEST_CASE("a tile pack that is none, or promises what it does not hold, is refused with a sentence") {
    struct Case {
        const char* name;
        Metadata metadata;
        const char* says;
    };
    for (const Case& one :
         {Case{"vector tiles", with("format", "pbf"), "\"pbf\"; pictures are drawn"},
          Case{"no format", {}, "\"\"; pictures are drawn"}, Case{"zoom in words", with("minzoom", "two"), "minzoom"},
          Case{"zoom below zero", with("minzoom", "-1"), "minzoom"},
          Case{"zoom too far", with("maxzoom", "31"), "maxzoom"},
          Case{"zooms reversed", with("maxzoom", "1"), "minzoom is above its maxzoom"}}) {
        INFO(one.name);
        const TemporaryFolder folder;
        make_pack(folder.path() / "a.mbtiles", one.metadata);
        const auto pack = TilePack::open(folder.path() / "a.mbtiles");
        REQUIRE_FALSE(pack);
        CHECK_THAT(pack.error().message, Catch::Contains(one.says));
    }
    const TemporaryFolder folder;
    const auto text = folder.write("text.mbtiles", "not a database, but long enough for somebody to think it was one");
    CHECK_THAT(TilePack::open(text).error().message, Catch::Contains("cannot be read as a tile pack"));
    CHECK_THAT(TilePack::open(folder.path() / "none.mbtiles").error().message,
               Catch::Contains("cannot be read as a tile pack"));
    make_pack(folder.path() / "page.mbtiles", kGood, "<script>");
    auto page = TilePack::open(folder.path() / "page.mbtiles");
    REQUIRE(page);
    CHECK_THAT(page->tile(2, 1, 0).error().message, Catch::Contains("is not a png"));
    make_pack(folder.path() / "large.mbtiles", kGood, kPng + std::string(3U << 20, ' '));
    auto large = TilePack::open(folder.path() / "large.mbtiles");
    REQUIRE(large);
    CHECK_FALSE(large->tile(2, 1, 0));
    // MBTiles allows views, and a view may count to infinity.
    make_pack(folder.path() / "view.mbtiles", kGood, kPng,
              "CREATE VIEW tiles AS WITH RECURSIVE n(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n) "
              "SELECT 2 AS zoom_level, 1 AS tile_column, -1 - i AS tile_row, zeroblob(0) AS tile_data FROM n");
    auto endless = TilePack::open(folder.path() / "view.mbtiles");
    REQUIRE(endless);
    CHECK_FALSE(endless->tile(2, 1, 0));
}

TEST_CASE("overlays and one tile pack beside the site file are taken, and what cannot be used is named") {
    const TemporaryFolder folder;
    const auto site = folder.write("site.json", "{}");
    folder.write("roads.geojson", R"({"type":"LineString","coordinates":[[10,50],[10.1,50.1]]})");
    folder.write("fences.geojson", R"({"type":"Point","coordinates":[10,50]})");
    folder.write("broken.geojson", R"({"type":"Point","coordinates":[50,100]})");
    folder.write("notes.txt", "nothing to draw");
    make_pack(folder.path() / "range.mbtiles", kGood);
    make_pack(folder.path() / "second.mbtiles", kGood);
    const SiteMap map = read_site_map(site);
    std::vector<std::string> titles;
    for (const MapOverlay& overlay : map.overlays) titles.push_back(overlay.title);
    CHECK(titles == std::vector<std::string>{"fences", "roads"});
    CHECK(map.tile_file.filename() == "range.mbtiles");
    REQUIRE(map.problems.size() == 2);
    CHECK_THAT(map.problems[0], Catch::StartsWith("broken.geojson: /coordinates lies off the earth"));
    CHECK_THAT(map.problems[1], Catch::StartsWith("second.mbtiles: one tile pack is drawn"));

    const TemporaryFolder bare;
    const SiteMap nothing = read_site_map(bare.write("site.json", "{}"));
    CHECK((nothing.overlays.empty() && nothing.tile_file.empty() && nothing.problems.empty()));
    CHECK(read_site_map(bare.path() / "gone" / "site.json").problems.empty());
}
