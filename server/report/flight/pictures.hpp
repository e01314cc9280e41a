#pragma once
/// A flight in pictures: its course on one time axis, and the site from above.
#include "server/report/flight/flight.hpp"
#include "server/report/page/markup.hpp"

namespace turnstone::report {

[[nodiscard]] Markup course_chapter(const Recorded& recorded, const Flight& flight);
[[nodiscard]] Markup map_chapter(const Recorded& recorded, const Flight& flight);

} // namespace turnstone::report
