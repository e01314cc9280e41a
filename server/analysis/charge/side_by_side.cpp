#include "server/analysis/charge/side_by_side.hpp"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <vector>

namespace turnstone::analysis {

SideBySide side_by_side(std::span<const Measured> tests) {
    std::vector<Measured> said;
    std::ranges::copy_if(tests, std::back_inserter(said),
                         [](const Measured& test) { return std::isfinite(test.value); });
    std::vector<double> values(said.size());
    std::ranges::transform(said, values.begin(), &Measured::value);
    SideBySide out;
    out.all = summarise(values);
    out.mean = mean_interval(out.all);
    out.sd = sd_interval(out.all);
    if (values.size() < 2) return out;
    const auto [least, greatest] = std::ranges::minmax_element(values);
    out.widest = (*greatest - *least) / out.all.mean;
    const Measured& newest = said.back();
    if (said.size() == 2) {
        out.newest = relative_difference(newest.value, newest.sigma, said.front().value, said.front().sigma);
        return out;
    }
    const Summary earlier = summarise(std::span(values).first(values.size() - 1));
    out.newest = relative_difference(newest.value, earlier.sd, earlier.mean, earlier.standard_error());
    return out;
}

} // namespace turnstone::analysis
