#pragma once
/// Checks that a unit is spelled as UCUM has it (The Unified Code for Units of Measure, case-sensitive codes):
/// products, quotients, exponents, parentheses, metric prefixes and annotations, over the unit codes a vehicle can
/// plausibly need.
#include <string_view>

namespace turnstone {

[[nodiscard]] bool is_ucum_unit(std::string_view unit) noexcept;

} // namespace turnstone
