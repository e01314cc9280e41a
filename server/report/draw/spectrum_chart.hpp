#pragma once
/// Curves over frequency, both axes logarithmic.
#include <string>
#include <vector>

#include "server/report/page/markup.hpp"

namespace turnstone::report {

struct SpectrumCurve {
    std::string name;
    std::vector<double> frequency_hz;
    std::vector<double> value; ///< positive
};

/// Empty when no curve has two points. `unit` is that of the values, as it is printed.
[[nodiscard]] Markup drawn_spectra(const std::vector<SpectrumCurve>& curves, const std::string& unit);

} // namespace turnstone::report
