#pragma once
/// A flight as the log book has it: a line with its curve.
#include <nlohmann/json.hpp>

#include "server/debrief/flights/chapters.hpp"
#include "server/record/by_name/recorded.hpp"

namespace turnstone::debrief {

/// A member of "flights" of GET /api/flights (STREAM.md), without "live" and "archived". Of a chapter with a liftoff.
[[nodiscard]] nlohmann::json summary_of(const Recorded& recorded, const Chapter& chapter);

/// Figures as {"key","title","unit","value","sigma"}; null: not known.
[[nodiscard]] nlohmann::json figures_json(const Recorded& recorded, const Chapter& chapter);

} // namespace turnstone::debrief
