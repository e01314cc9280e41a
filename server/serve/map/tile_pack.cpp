#include "server/serve/map/tile_pack.hpp"

#include <charconv>
#include <span>

namespace turnstone {
namespace {

constexpr int kBytesMax = 2 << 20;        ///< of a tile or a text
constexpr int kInstructionsMax = 200'000; ///< of SQLite's machine for a question: a view may ask for anything

struct Refused {
    std::string why;
};

void distrust(Database& database) {
    sqlite3* const handle = database.handle();
    sqlite3_db_config(handle, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, nullptr);
    sqlite3_db_config(handle, SQLITE_DBCONFIG_DEFENSIVE, 1, nullptr);
    sqlite3_limit(handle, SQLITE_LIMIT_LENGTH, kBytesMax);
    sqlite3_progress_handler(
        handle, kInstructionsMax, [](void*) { return 1; }, nullptr);
    database.execute("PRAGMA cell_size_check = ON");
}

std::string metadata(Database& database, std::string_view name) {
    Statement found(database, "SELECT value FROM metadata WHERE name = ?1 LIMIT 1");
    found.bind(1, name);
    return found.step() ? found.text(0) : std::string();
}

int zoom_of(Database& database, std::string_view name) {
    const std::string text = metadata(database, name);
    int zoom = -1;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), zoom);
    if (error != std::errc() || end != text.data() + text.size() || zoom < 0 || zoom > kZoomMost)
        throw Refused{"its metadata need " + std::string(name) + ", a whole number from 0 to " +
                      std::to_string(kZoomMost)};
    return zoom;
}

bool is_picture(std::string_view bytes, TileFormat format) {
    switch (format) {
    case TileFormat::png: return bytes.starts_with("\x89PNG\r\n\x1a\n");
    case TileFormat::jpg: return bytes.starts_with("\xff\xd8\xff");
    case TileFormat::webp: return bytes.starts_with("RIFF") && bytes.size() > 12 && bytes.substr(8, 4) == "WEBP";
    }
    return false;
}

} // namespace

std::string_view content_type_of(TileFormat format) {
    switch (format) {
    case TileFormat::jpg: return "image/jpeg";
    case TileFormat::webp: return "image/webp";
    case TileFormat::png: break;
    }
    return "image/png";
}

Result<TilePack> TilePack::open(const std::filesystem::path& file) {
    try {
        TilePack pack{Database(file, Database::Mode::read_only)};
        distrust(pack.database_);
        pack.read_info();
        return pack;
    } catch (const Refused& refused) {
        return fail(refused.why);
    } catch (const SqliteError& error) {
        return fail("it cannot be read as a tile pack (MBTiles 1.3): " + std::string(error.what()));
    }
}

void TilePack::read_info() {
    const std::string format = metadata(database_, "format");
    const auto known = from_word<TileFormat>(format == "jpeg" ? "jpg" : format);
    if (!known)
        throw Refused{"its tiles are \"" + format.substr(0, 20) +
                      "\"; pictures are drawn: png, jpg or webp, as the row 'format' of its metadata says"};
    info_.format = *known;
    info_.zoom_least = zoom_of(database_, "minzoom");
    info_.zoom_most = zoom_of(database_, "maxzoom");
    if (info_.zoom_least > info_.zoom_most) throw Refused{"its minzoom is above its maxzoom"};
    constexpr std::size_t kAttributionMax = 200;
    info_.attribution = metadata(database_, "attribution").substr(0, kAttributionMax);
}

Result<std::optional<std::string>> TilePack::tile(int zoom, std::uint32_t x, std::uint32_t y) {
    if (zoom < info_.zoom_least || zoom > info_.zoom_most) return std::nullopt;
    const std::uint32_t side = 1U << static_cast<unsigned>(zoom);
    if (x >= side || y >= side) return std::nullopt;
    try {
        Statement found(database_, "SELECT tile_data FROM tiles WHERE zoom_level = ?1 AND tile_column = ?2 AND "
                                   "tile_row = ?3 LIMIT 1");
        found.bind(1, std::int64_t{zoom});
        found.bind(2, std::int64_t{x});
        found.bind(3, std::int64_t{side - 1 - y}); // rows count from the south there
        if (!found.step()) return std::nullopt;
        const std::span<const std::byte> blob = found.blob(0);
        std::string bytes(reinterpret_cast<const char*>(blob.data()), blob.size());
        if (!is_picture(bytes, info_.format))
            return fail("that tile is not a " + std::string(word(info_.format)) + ", as the file's metadata promise");
        return bytes;
    } catch (const SqliteError& error) {
        return fail("that tile cannot be read: " + std::string(error.what()));
    }
}

} // namespace turnstone
