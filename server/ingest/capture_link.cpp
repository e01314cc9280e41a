#include "server/ingest/capture_link.hpp"

#include <algorithm>
#include <memory>
#include <utility>
#include <variant>

#include "server/pipeline/link/capture_time.hpp"
#include "server/pipeline/link/link_framing.hpp"

namespace turnstone {

LinkHandler with_capture_time(const LinkUri& uri, const Dictionary& dictionary, LinkHandler handler) {
    const FileSource* file = std::get_if<FileSource>(&uri.source);
    if (file == nullptr || file->pace_baud != 0) return handler;
    struct Capture {
        CaptureTime time;
        LinkHandler to;
        std::int64_t utc_offset_ns = 0; ///< system UTC minus station time
        [[nodiscard]] CaptureTime::OnPiece on_piece() const {
            return [this](std::int64_t t_ns, std::span<const std::byte> bytes) {
                to.on_bytes(t_ns, t_ns + utc_offset_ns, bytes);
            };
        }
    };
    const auto capture =
        std::make_shared<Capture>(Capture{CaptureTime(link_framing(uri.text), dictionary), std::move(handler)});
    LinkHandler out;
    out.on_bytes = [capture](std::int64_t t_rx_ns, std::int64_t utc_rx_ns, std::span<const std::byte> bytes) {
        capture->utc_offset_ns = utc_rx_ns - t_rx_ns;
        capture->time.read(t_rx_ns, bytes, capture->on_piece());
    };
    out.on_state = [capture](std::int64_t t_ns, LinkState state, const std::string& detail) {
        if (state == LinkState::end_of_file) capture->time.end(capture->on_piece());
        capture->to.on_state(t_ns, state, detail);
    };
    out.on_timed_bytes = capture->to.on_bytes; // a file that has its times needs no others
    out.may_read = capture->to.may_read;
    return out;
}

bool reads_files(std::span<const LinkUri> uris) noexcept {
    return std::ranges::any_of(
        uris, [](const LinkUri& uri) { return std::holds_alternative<FileSource>(uri.source); });
}

bool all_ended(std::span<const LinkView> links) noexcept {
    return !links.empty() && std::ranges::all_of(
                                 links, [](const LinkView& link) { return link.state == LinkState::end_of_file; });
}

} // namespace turnstone
