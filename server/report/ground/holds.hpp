#pragma once
/// The holds of the station's countdown, each with its reason.
#include "server/record/by_name/recorded.hpp"
#include "server/report/page/markup.hpp"

namespace turnstone::report {

/// In the order of time; empty without any. A reason that came after the hold belongs to it; another reason is a hold
/// of its own.
[[nodiscard]] Markup holds_chapter(const Recorded& recorded);

} // namespace turnstone::report
