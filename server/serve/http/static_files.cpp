#include "server/serve/http/static_files.hpp"

#include <algorithm>
#include <cctype>
#include <cstdint>
#include <optional>

#include <fmt/format.h>
#include <zlib.h>

namespace turnstone {
namespace {

/// File names below /assets/ carry a hash of their content, so that they never change.
constexpr std::string_view kHashedFolder = "/assets/";
constexpr std::size_t kInflatedMax = 32u << 20;

std::string_view trimmed(std::string_view text) {
    while (!text.empty() && (text.front() == ' ' || text.front() == '\t')) text.remove_prefix(1);
    while (!text.empty() && (text.back() == ' ' || text.back() == '\t')) text.remove_suffix(1);
    return text;
}

/// Calls back with each trimmed element of a comma-separated list.
template <class F>
void for_each_element(std::string_view list, F&& on_element) {
    while (!list.empty()) {
        const std::size_t comma = std::min(list.find(','), list.size());
        on_element(trimmed(list.substr(0, comma)));
        list.remove_prefix(std::min(comma + 1, list.size()));
    }
}

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
    int code = Z_OK;
    while (code == Z_OK && out.size() < kInflatedMax) {
        const std::size_t had = out.size();
        out.resize(had + (64u << 10));
        stream.next_out = reinterpret_cast<unsigned char*>(out.data() + had);
        stream.avail_out = static_cast<unsigned>(out.size() - had);
        code = inflate(&stream, Z_NO_FLUSH);
        out.resize(out.size() - stream.avail_out);
    }
    inflateEnd(&stream);
    return code == Z_STREAM_END ? std::optional(std::move(out)) : std::nullopt;
}

bool tag_matches(std::string_view if_none_match, std::string_view quoted_tag) {
    bool matches = false;
    for_each_element(if_none_match, [&](std::string_view element) {
        if (element.starts_with("W/")) element.remove_prefix(2);
        matches = matches || element == quoted_tag || element == "*";
    });
    return matches;
}

} // namespace

bool accepts_gzip(std::string_view accept_encoding) {
    bool accepts = false;
    for_each_element(accept_encoding, [&](std::string_view element) {
        const std::size_t semicolon = std::min(element.find(';'), element.size());
        std::string coding(trimmed(element.substr(0, semicolon)));
        std::transform(coding.begin(), coding.end(), coding.begin(),
                       [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
        if (coding != "gzip" && coding != "x-gzip") return;
        const std::string_view weight = trimmed(element.substr(std::min(semicolon + 1, element.size())));
        // A weight of zero, written with up to three decimals, refuses.
        accepts = !(weight.starts_with("q=0") && weight.substr(3).find_first_not_of(".0") == std::string_view::npos);
    });
    return accepts;
}

StaticFiles::StaticFiles(std::span<const Asset> assets) {
    for (const Asset& asset : assets) files_.emplace(asset.path, File{asset, content_tag(asset)});
}

Answer StaticFiles::answer(const Request& request) const {
    const auto found = files_.find(request.target.path == "/" ? std::string_view("/index.html")
                                                              : std::string_view(request.target.path));
    if (found == files_.end())
        return error_answer(404,
                            "there is nothing at this address; the dashboard is at '/', the interface below '/api/'");
    const auto& [asset, tag] = found->second;
    const bool gzip = accepts_gzip(request.accept_encoding);
    const std::string quoted_tag = fmt::format("\"{}{}\"", tag, gzip ? "" : "-plain");

    Answer answer;
    answer.headers.emplace_back(
        "Cache-Control", asset.path.starts_with(kHashedFolder) ? "public, max-age=31536000, immutable" : "no-cache");
    answer.headers.emplace_back("ETag", quoted_tag);
    answer.headers.emplace_back("Vary", "Accept-Encoding");
    if (tag_matches(request.if_none_match, quoted_tag)) {
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
    if (!text) return error_answer(503, "a file of the dashboard in this program is damaged; build the program again");
    answer.body = std::move(*text);
    return answer;
}

} // namespace turnstone
