#pragma once
/// Captures read at full speed keep the vehicle's own time (server/pipeline/link/capture_time.hpp).
#include <span>

#include "protocol/dictionary/dictionary.hpp"
#include "server/link/link.hpp"
#include "server/serve/live_tape.hpp"

namespace turnstone {

/// `handler`, or for a capture at full speed one that hands it the bytes in pieces with the times of the vehicle's clock.
/// The dictionary must outlive the link.
[[nodiscard]] LinkHandler with_capture_time(const LinkUri& uri, const Dictionary& dictionary, LinkHandler handler);

/// There are links, and every one was a file and is read to its end.
[[nodiscard]] bool all_ended(std::span<const LinkView> links) noexcept;

} // namespace turnstone
