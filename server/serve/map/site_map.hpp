#pragma once
/// What people put beside the site file for the map: every file *.geojson is an overlay, and one file *.mbtiles holds
/// pictures to lie under it. A file that cannot be used keeps no station from starting: it is left out, with a
/// sentence.
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "server/serve/map/tile_pack.hpp"
#include "server/serve/parse/geojson.hpp"

namespace turnstone {

struct MapOverlay {
    std::string title; ///< the file's name without its ending
    std::vector<MapShape> shapes;
};

struct SiteMap {
    std::vector<MapOverlay> overlays; ///< by title
    std::filesystem::path tile_file;  ///< empty: none
    TilePackInfo tiles;
    std::vector<std::string> problems; ///< a sentence for each file that was left out
};

[[nodiscard]] SiteMap read_site_map(const std::filesystem::path& site_file);

} // namespace turnstone
