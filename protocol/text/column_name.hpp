#pragma once
/// Names of columns made of what senders call them.
#include <string>
#include <string_view>

namespace turnstone {

/// "Alt (m)" -> "alt_m": lower case, one underscore for each run of anything but letters and digits, none at the ends,
/// "c_" before a digit. Empty for what holds no letter or digit.
[[nodiscard]] std::string column_name(std::string_view title);
/// Whether column_name(title) is `name`.
[[nodiscard]] bool is_column_name(std::string_view title, std::string_view name) noexcept;

} // namespace turnstone
