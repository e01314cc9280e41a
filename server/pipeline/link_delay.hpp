#pragma once
/// How long a frame is on its way at least: what its bytes take on the line, and the latency that the operator
/// declared for the radios between. Read from the link's URI, which stands in the recording.
#include <cstdint>
#include <string>

namespace turnstone {

struct LinkDelay {
    double byte_s = 0;           ///< that one byte takes on the line
    double latency_s = 0;        ///< declared
    bool is_relayed = false;     ///< another station receives, and hands it on when it can
    std::int64_t relayed_ns = 0; ///< since then
    double bound_s = 0; ///< about 95 %, of what is left: the least delay of the link is within this of the rest
    /// From the end of a frame of this size being received back to its being handed to the link.
    [[nodiscard]] std::int64_t of_frame_ns(std::uint32_t link_bytes) const noexcept;
};

/// serial: by baud rate, parity and stop bits; file: by its pace. latency_ms: declared; it is taken to be right within
/// a quarter and 2 ms. Not declared it is none, within 50 ms: radio modems keep a frame for that long at most (common
/// practice, no source). broker: another station's link, of which only that is known, and a network between, which
/// takes a third of a second at most even by satellite (common practice, no source).
[[nodiscard]] LinkDelay link_delay(const std::string& uri);

} // namespace turnstone
