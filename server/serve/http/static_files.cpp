#include "server/serve/http/static_files.hpp"

#include <array>
#include <cstdint>
#include <optional>

#include <fmt/format.h>
#include <zlib.h>

#include "server/serve/parse/header_fields.hpp"

namespace turnstone {
namespace {

/// File names below /assets/ carry a hash of their content, so that they never change.
constexpr std::string_view kHashedFolder = "/assets/";
constexpr std::size_t kInflatedMax = 32u << 20;

std::string content_tag(const Asset& asset) {
    std::uint64_t hash = 0xcbf29ce484222325; // FNV-1a, 64 bits: tells versions apart, protects nothing
    for (const unsigned char* at = asset.begin; at != asset.end; ++at) hash = (hash ^ *at) * 0x100000001b3;
    return fmt::format("{:016x}", hash);
}

std::optional<std::string> inflated(const Asset& asset) {
    z_stream stream{};
    if (inflateInit2(&stream, 16 + MAX_WBITS) != Z_OK) // 16: expect a gzip header
        return std::nullopt;
    std::string out;
    stream.next_in = const_cast<unsigned char*>(asset.begin); // zlib reads only
    stream.avail_in = static_cast<unsigned>(asset.end - asset.begin);
    std::array<char, 16u << 10> piece;
    int code = Z_OK;
    while (code == Z_OK && out.size() < kInflatedMax) {
        stream.next_out = reinterpret_cast<unsigned char*>(piece.data());
        stream.avail_out = static_cast<unsigned>(piece.size());
        code = inflate(&stream, Z_NO_FLUSH);
        out.append(piece.data(), piece.size() - stream.avail_out);
    }
    inflateEnd(&stream);
    return code == Z_STREAM_END ? std::optional(std::move(out)) : std::nullopt;
}

} // namespace

StaticFiles::StaticFiles(std::span<const Asset> assets) {
    for (const Asset& asset : assets) files_.emplace(asset.path, File{asset, content_tag(asset)});
}

Answer StaticFiles::answer(const Request& request) const {
    const auto found = files_.find(request.target.path == "/" ? std::string_view("/index.html")
                                                              : std::string_view(request.target.path));
    if (found == files_.end())
        return error_answer(404, "nothing at this address; the dashboard is at '/', the interface under '/api/'");
    const auto& [asset, tag] = found->second;
    const bool gzip = accepts_gzip(request.accept_encoding);
    const std::string quoted_tag = fmt::format("\"{}{}\"", tag, gzip ? "" : "-plain");

    Answer answer;
    answer.headers.emplace_back(
        "Cache-Control", asset.path.starts_with(kHashedFolder) ? "public, max-age=31536000, immutable" : "no-cache");
    answer.headers.emplace_back("ETag", quoted_tag);
    answer.headers.emplace_back("Vary", "Accept-Encoding");
    if (names_tag(request.if_none_match, quoted_tag)) {
        answer.status = 304;
        return answer;
    }
    answer.content_type = asset.content_type;
    if (gzip) {
        answer.headers.emplace_back("Content-Encoding", "gzip");
        answer.stored = {asset.begin, asset.end};
        return answer;
    }
    auto text = inflated(asset);
    if (!text)
        return error_answer(503, "a dashboard file inside this program is damaged; install or build the program again");
    answer.body = std::move(*text);
    return answer;
}

} // namespace turnstone
