#pragma once
/// Captures read at full speed keep the vehicle's own time (server/pipeline/link/capture_time.hpp).
#include <span>

#include "server/link/link.hpp"
#include "server/pipeline/setup.hpp"
#include "server/serve/live_tape.hpp"

namespace turnstone {

/// `handler`, or for a capture at full speed one that hands it the bytes in pieces with the times of the vehicle's
/// clock. Files that say themselves when their bytes came are handed on with those times. The dictionary must outlive
/// the link.
[[nodiscard]] LinkHandler with_capture_time(const LinkUri& uri, const Dictionary& dictionary, LinkHandler handler);

/// Any of them is read from its start whenever a server starts: a recording of it does not go on.
[[nodiscard]] bool reads_files(std::span<const LinkUri> uris) noexcept;

/// There are links, and every one was a file and is read to its end.
[[nodiscard]] bool all_ended(std::span<const LinkView> links) noexcept;

} // namespace turnstone
