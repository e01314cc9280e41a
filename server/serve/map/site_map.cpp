#include "server/serve/map/site_map.hpp"

#include <algorithm>
#include <system_error>

#include "shared/json_reader.hpp"

namespace turnstone {
namespace {

namespace fs = std::filesystem;

constexpr std::size_t kOverlaysMax = 8;
constexpr std::uintmax_t kOverlayBytesMax = 4U << 20;

std::vector<fs::path> files_beside(const fs::path& site_file, const char* ending) {
    std::vector<fs::path> found;
    const fs::path folder = site_file.has_parent_path() ? site_file.parent_path() : fs::path(".");
    std::error_code error;
    for (fs::directory_iterator at(folder, error), end; !error && at != end; at.increment(error))
        if (std::error_code ignored; at->path().extension() == ending && at->is_regular_file(ignored))
            found.push_back(at->path());
    std::ranges::sort(found);
    return found;
}

void read_overlay(const fs::path& file, SiteMap& out) {
    const auto refuse = [&](const std::string& why) {
        out.problems.push_back(file.filename().string() + ": " + why + "; it is left out of the map");
    };
    std::error_code error;
    const std::uintmax_t bytes = fs::file_size(file, error);
    if (!error && bytes > kOverlayBytesMax) return refuse("has more than 4 MiB");
    const auto text = read_text_file(file);
    if (!text) return refuse(text.error().message);
    auto shapes = parse_geojson(*text);
    if (!shapes) return refuse(shapes.error().message);
    if (out.overlays.size() == kOverlaysMax) return refuse("there are 8 overlays already");
    out.overlays.push_back({.title = file.stem().string(), .shapes = std::move(*shapes)});
}

} // namespace

SiteMap read_site_map(const fs::path& site_file) {
    SiteMap out;
    for (const fs::path& file : files_beside(site_file, ".geojson")) read_overlay(file, out);
    for (const fs::path& file : files_beside(site_file, ".mbtiles")) {
        const std::string name = file.filename().string();
        if (!out.tile_file.empty()) {
            out.problems.push_back(name + ": one tile pack is drawn, and " + out.tile_file.filename().string() +
                                   " comes before it; remove one of the two");
            continue;
        }
        const auto pack = TilePack::open(file);
        if (pack) {
            out.tile_file = file;
            out.tiles = pack->info();
        } else {
            out.problems.push_back(name + ": " + pack.error().message + "; it is left out of the map");
        }
    }
    return out;
}

} // namespace turnstone
