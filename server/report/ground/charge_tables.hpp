#pragma once
/// What a firing's row says, in tables.
#include <vector>

#include "server/report/ground/charge.hpp"

namespace turnstone::report {

/// Times, sizes and counts; the sensors before and after.
[[nodiscard]] Markup findings_tables(const Firing& firing);

/// This test beside earlier ones of the same charge: mean, spread, its 95 % limits, difference. Empty without any.
[[nodiscard]] Markup earlier_table(const Firing& firing, const std::vector<EarlierFiring>& earlier);

} // namespace turnstone::report
