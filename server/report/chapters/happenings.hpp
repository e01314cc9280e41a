#pragma once
/// What was told, and what people did: alerts, the operators' log, other events.
#include "server/record/by_name/recorded.hpp"
#include "server/report/chapters/clock.hpp"
#include "server/report/page/markup.hpp"

namespace turnstone::report {

/// The mark of a level with its word: strokes that are counted, so that it reads without colour.
[[nodiscard]] Markup level_mark(Level level);

/// Each of them of a window; empty when nothing happened. `vehicle`: of it and of none.
[[nodiscard]] Markup alerts_chapter(const Recorded& recorded, int vehicle, Window window, const ReportClock& clock);
[[nodiscard]] Markup log_chapter(const Recorded& recorded, int vehicle, Window window, const ReportClock& clock);
[[nodiscard]] Markup events_chapter(const Recorded& recorded, int vehicle, Window window, const ReportClock& clock);

} // namespace turnstone::report
