#pragma once
/// From values to places on paper, and the round values in between.
#include <vector>

namespace turnstone::report {

struct Range {
    double low = 0;
    double high = 1;
};

/// A stretch of paper that a range of values is drawn on. `to` may lie before `from`: paper counts downwards.
struct Scale {
    Range range;
    double from;
    double to;
    bool logarithmic = false;

    [[nodiscard]] double at(double value) const;
};

/// Values 1, 2 or 5 times a power of ten apart within the range: at most `most`, at least two where the range allows.
[[nodiscard]] std::vector<double> round_values(const Range& range, int most);
/// How many decimals tell such values apart.
[[nodiscard]] int decimals_of(const std::vector<double>& round);
/// Powers of ten and, where they are few, 2 and 5 times them.
[[nodiscard]] std::vector<double> round_powers(const Range& range);

/// The least range with all finite values, a little wider; never empty.
class RangeOf {
  public:
    void add(double value);
    /// With a margin of a twentieth; around a single value, as much as it is wide.
    [[nodiscard]] Range range() const;

  private:
    bool any_ = false;
    Range range_;
};

} // namespace turnstone::report
