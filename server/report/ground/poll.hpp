#pragma once
/// The readiness board and the poll of positions, as they stood last before liftoff or the end.
#include "server/record/by_name/recorded.hpp"
#include "server/report/page/markup.hpp"

namespace turnstone::report {

/// Whether anybody was polled, or the board had something to say.
[[nodiscard]] bool has_poll(const Recorded& recorded);

/// "Not ready: gust fails. Weather says no go."
[[nodiscard]] std::string poll_sentence(const Recorded& recorded);

/// Board, poll and what changed.
[[nodiscard]] Markup poll_chapters(const Recorded& recorded);

/// Who signs: the positions that were polled.
[[nodiscard]] std::vector<std::string> polled_positions(const Recorded& recorded);

} // namespace turnstone::report
