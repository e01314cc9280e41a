#pragma once
/// Pictures of a map in one file: MBTiles 1.3, an SQLite database whose tables or views `metadata` and `tiles` anybody
/// may have made. It is opened to read, without trust in its schema, and what it makes this computer do is bounded.
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

#include "server/record/format/sqlite.hpp"
#include "shared/result.hpp"
#include "shared/words.hpp"

namespace turnstone {

/// What browsers draw. MBTiles knows vector tiles ("pbf") too, which have no look of their own.
enum class TileFormat : unsigned char { png, jpg, webp };
consteval auto words_of(TileFormat) {
    return words<TileFormat::webp>("png", "jpg", "webp");
}
[[nodiscard]] std::string_view content_type_of(TileFormat format);

struct TilePackInfo {
    TileFormat format = TileFormat::png;
    int zoom_least = 0, zoom_most = 0;
    std::string attribution; ///< who has to be named beside the map; may be empty
};

inline constexpr int kZoomMost = 22;

/// One connection, used by one thread at a time.
class TilePack {
  public:
    /// The errors are sentences without the file's name.
    [[nodiscard]] static Result<TilePack> open(const std::filesystem::path& file);
    [[nodiscard]] const TilePackInfo& info() const noexcept { return info_; }
    /// `y` counts from north, as addresses of tiles do; empty: there is none.
    [[nodiscard]] Result<std::optional<std::string>> tile(int zoom, std::uint32_t x, std::uint32_t y);

  private:
    explicit TilePack(Database database) : database_(std::move(database)) {}
    void read_info();

    Database database_;
    TilePackInfo info_;
};

} // namespace turnstone
