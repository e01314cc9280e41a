#pragma once
/// The title of a column that has none of its own.
#include <string>
#include <string_view>

namespace turnstone {

/// "descent_rate_mps" with unit "m/s" gives "Descent rate"; a last word that does not spell the unit stays. A name that
/// ends in "_sigma" is the 1-sigma of another: "altitude_m_sigma" gives "Altitude, 1-sigma".
[[nodiscard]] std::string title_from_name(std::string_view name, std::string_view unit);

} // namespace turnstone
