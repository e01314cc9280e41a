#pragma once
/// The dashboard's files inside the binary: gzip streams, found by exact path, never through the file system.
#include <span>
#include <string_view>

namespace turnstone {

struct Asset {
    std::string_view path;      ///< as requested: "/index.html", "/assets/index-4f3a.js"
    const unsigned char* begin; ///< gzip member (RFC 1952)
    const unsigned char* end;
    std::string_view content_type;
};

/// The dashboard built from web/, or a notice page when it was built without. Defined by the library `web_assets`.
[[nodiscard]] std::span<const Asset> embedded_assets() noexcept;

} // namespace turnstone
