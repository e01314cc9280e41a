#include "server/serve/http/map_routes.hpp"

#include <charconv>
#include <cstdint>
#include <optional>
#include <string_view>
#include <utility>

#include <nlohmann/json.hpp>

#include "server/serve/http/on_worker.hpp"

namespace turnstone {
namespace {

using boost::asio::awaitable;
using nlohmann::json;

json shape_json(const MapShape& shape) {
    json parts = json::array();
    for (const auto& points : shape.parts) {
        json part = json::array();
        for (const MapPoint& point : points) part.push_back({point.latitude_deg, point.longitude_deg});
        parts.push_back(std::move(part));
    }
    return {{"kind", word(shape.kind)}, {"name", shape.name}, {"parts", std::move(parts)}};
}

json map_json(const SiteMap& map) {
    json overlays = json::array();
    for (const MapOverlay& overlay : map.overlays) {
        json shapes = json::array();
        for (const MapShape& shape : overlay.shapes) shapes.push_back(shape_json(shape));
        overlays.push_back({{"title", overlay.title}, {"shapes", std::move(shapes)}});
    }
    json tiles = nullptr;
    if (!map.tile_file.empty())
        tiles = {{"zoom_least", map.tiles.zoom_least},
                 {"zoom_most", map.tiles.zoom_most},
                 {"attribution", map.tiles.attribution}};
    return {{"overlays", std::move(overlays)}, {"tiles", std::move(tiles)}, {"problems", map.problems}};
}

std::optional<std::uint32_t> whole_number(std::string_view text) {
    std::uint32_t value = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc() || end != text.data() + text.size()) return std::nullopt;
    return value;
}

} // namespace

MapRoutes::MapRoutes(const SiteMap& map, Workers& workers)
    : map_(map), workers_(workers), about_(json_answer(map_json(map)).body) {}

Answer MapRoutes::about(const Request& request) const {
    if (const auto allowed = allow_parameters(request.target, {}); !allowed)
        return error_answer(400, allowed.error().message);
    Answer answer = json_answer(json::object());
    answer.body = about_;
    return answer;
}

awaitable<Answer> MapRoutes::tile(const Request& request) {
    if (!is_read(request)) co_return method_answer("GET, HEAD");
    if (const auto allowed = allow_parameters(request.target, {}); !allowed)
        co_return error_answer(400, allowed.error().message);
    if (map_.tile_file.empty())
        co_return error_answer(404, "there are no tiles: put a tile pack, NAME.mbtiles, beside the site file");
    const auto& segments = request.target.segments;
    const auto zoom = whole_number(segments[3]), x = whole_number(segments[4]), y = whole_number(segments[5]);
    if (!zoom || !x || !y || *zoom > static_cast<std::uint32_t>(kZoomMost))
        co_return error_answer(400, "a tile is named by three whole numbers: zoom, x and y");
    const WorkerTask task = [&file = map_.tile_file, zoom = static_cast<int>(*zoom), x = *x, y = *y](ReaderCache&) {
        auto pack = TilePack::open(file);
        if (!pack) return error_answer(503, pack.error().message);
        auto found = pack->tile(zoom, x, y);
        if (!found) return error_answer(503, found.error().message);
        if (!*found) return error_answer(404, "the tile pack has no such tile");
        Answer answer;
        answer.content_type = content_type_of(pack->info().format);
        answer.body = std::move(**found);
        answer.headers.emplace_back("Cache-Control", "private, max-age=86400");
        return answer;
    };
    co_return co_await on_worker(workers_, Lane::stored, request.client, task);
}

} // namespace turnstone
