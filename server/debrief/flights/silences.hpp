#pragma once
/// When a vehicle was heard and when it was not.
#include <cstdint>
#include <string>
#include <vector>

#include "server/record/by_name/recorded.hpp"

namespace turnstone::debrief {

/// Longer than this without a good frame is a gap.
inline constexpr double kGapSeconds = 2;

struct SilentTime {
    std::int64_t from_ns;
    std::int64_t to_ns;
};

/// When none of the vehicle's links brought a good frame, to about a second.
[[nodiscard]] std::vector<SilentTime> silent_times(const Recorded& recorded, std::size_t vehicle, Window window);
/// The same of one link.
[[nodiscard]] std::vector<SilentTime> silent_times(const Recorded& recorded, const std::string& link, Window window);

/// By how much a counter grew in the window; NaN: it has no rows.
[[nodiscard]] double counted(const Recorded& recorded, const Table* table, Window window, std::string_view column);

/// Lost packets over those that were sent, of the link that lost the least; NaN: not known.
[[nodiscard]] double lost_fraction(const Recorded& recorded, std::size_t vehicle, Window window);

} // namespace turnstone::debrief
