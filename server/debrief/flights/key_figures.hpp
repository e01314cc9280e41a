#pragma once
/// The key figures of a flight, each with its 1-sigma: the log book, comparisons and reports show these. They rest on
/// what was measured: what an estimate only reached by running on without data does not count.
#include <string_view>
#include <vector>

#include "server/debrief/flights/chapters.hpp"
#include "server/record/by_name/recorded.hpp"

namespace turnstone::debrief {

struct Figure {
    std::string_view key; ///< ends in its unit
    std::string_view title;
    std::string_view unit; ///< UCUM
    double value;          ///< NaN: not known; this and the next
    double sigma;
};

/// Of a chapter with a liftoff; all of them, in one order, known or not.
[[nodiscard]] std::vector<Figure> key_figures(const Recorded& recorded, const Chapter& chapter);

} // namespace turnstone::debrief
