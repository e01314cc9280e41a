#pragma once
/// What a log seems to be, from its beginning: for a person who says what its columns mean.
#include <cstddef>
#include <span>
#include <string>
#include <vector>

namespace turnstone::exchange {

struct LookedAtColumn {
    std::string name;
    std::vector<std::string> first; ///< values of the first lines
    bool is_number = true;          ///< as far as they show
};

struct FirstLook {
    bool is_columns = false; ///< lines of values with a header line; else packets
    char separator = ',';
    char decimal = '.'; ///< a comma where only that makes numbers of more values
    std::vector<LookedAtColumn> columns = {};
};

/// `beginning`: some kilobytes; a line that is cut off at the end does not count.
[[nodiscard]] FirstLook look_at_log(std::span<const std::byte> beginning);

} // namespace turnstone::exchange
