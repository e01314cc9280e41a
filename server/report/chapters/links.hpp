#pragma once
/// How well each link carried what was sent, and when it carried nothing.
#include <vector>

#include "server/record/by_name/recorded.hpp"
#include "server/report/chapters/clock.hpp"
#include "server/report/page/markup.hpp"

namespace turnstone::report {

/// Longer than this without a good frame is a gap.
inline constexpr double kGapSeconds = 2;

struct SilentTime {
    std::int64_t from_ns;
    std::int64_t to_ns;
};

/// When none of the vehicle's links brought a good frame, to about a second.
[[nodiscard]] std::vector<SilentTime> silent_times(const Recorded& recorded, std::size_t vehicle, Window window);

/// Of the vehicle's links.
[[nodiscard]] Markup links_chapter(const Recorded& recorded, std::size_t vehicle, Window window,
                                   const ReportClock& clock);

} // namespace turnstone::report
