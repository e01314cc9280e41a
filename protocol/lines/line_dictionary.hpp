#pragma once
/// A dictionary made of the names of columns, for a sender that prints lines and has no dictionary.
#include <string>
#include <string_view>
#include <vector>

#include "protocol/framing/framing.hpp"

namespace turnstone {

/// dictionary.json with one packet "line". A name with the ending of a unit ("alt_m", "speed_mps", "voltage_v") has
/// that unit; one that is a role's has the role and its unit; "time_ms" and "time_s" are the sender's own time.
[[nodiscard]] std::string line_dictionary_json(std::string_view vehicle, const std::vector<LineColumn>& columns);

/// The columns of a header line, and by the line after it which of them are texts. Empty: the first has a number, or
/// what cannot be a name.
[[nodiscard]] std::vector<LineColumn> columns_of_header(std::string_view header, std::string_view line, char separator,
                                                        char decimal);

} // namespace turnstone
