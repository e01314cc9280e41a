#pragma once
/// How well each link carried what was sent, and when it carried nothing.
#include "server/record/by_name/recorded.hpp"
#include "server/report/chapters/clock.hpp"
#include "server/report/page/markup.hpp"

namespace turnstone::report {

/// Of the vehicle's links.
[[nodiscard]] Markup links_chapter(const Recorded& recorded, std::size_t vehicle, Window window,
                                   const ReportClock& clock);

} // namespace turnstone::report
