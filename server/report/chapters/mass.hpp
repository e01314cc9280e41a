#pragma once
/// What the vehicle weighed, part by part against the budget, by the mass record that the recording carries.
#include "server/record/by_name/recorded.hpp"
#include "server/report/page/markup.hpp"

namespace turnstone::report {

/// Empty without a mass record, or with one that this version cannot read.
[[nodiscard]] Markup mass_chapter(const Recorded& recorded, std::size_t vehicle);

} // namespace turnstone::report
