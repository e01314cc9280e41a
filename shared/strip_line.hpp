#pragma once
/// Columns of one table that are drawn on one strip, such as the axes of a vector.
#include <string>

namespace turnstone {

struct StripLine {
    std::string title; ///< of the strip, the same for each of its columns: "Velocity"; empty: a strip of its own
    std::string line;  ///< tells this column from the others: "east"
    friend bool operator==(const StripLine&, const StripLine&) = default;
};

} // namespace turnstone
