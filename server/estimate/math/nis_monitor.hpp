#pragma once
/// Whether a filter's innovations are as large as it claims: the sum of the normalised innovation squared over the last
/// 50 measurements against the chi-square bounds for their degrees of freedom (Bar-Shalom, Li, Kirubarajan 2001,
/// section 5.4; two-sided 99 %). A measurement has as many degrees of freedom as components that were measured; one
/// whose error is mostly that of its neighbours has a fraction of one. Errors with longer tails than the normal
/// distribution's scatter the sum more: where the variance of their square is `tails` times a normal error's, the
/// bounds are those of so many times fewer degrees.
#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

#include "shared/constants.hpp"
#include "shared/words.hpp"

namespace turnstone::estimate {

/// How an estimate's stated sigmas compare with its innovations.
enum class Health : unsigned char {
    not_enough_data, ///< fewer than 50 innovations
    consistent,      ///< inside the bounds
    conservative,    ///< innovations smaller than claimed: the sigmas are too large
    overconfident,   ///< innovations larger than claimed: the sigmas are too small
    do_not_trust     ///< errors twice the stated sigmas and more
};
consteval auto words_of(Health) {
    return words<Health::do_not_trust>("not enough data yet", "consistent", "conservative", "overconfident",
                                       "do not trust");
}
/// Of several components: what matters more to a reader. One whose sigmas are too large does no harm to what the others
/// say.
[[nodiscard]] constexpr Health graver(Health a, Health b) noexcept {
    const auto known = [](Health h) { return h != Health::not_enough_data; };
    if (a == Health::conservative && known(b)) return b;
    if (b == Health::conservative && known(a)) return a;
    return std::max(a, b);
}

class NisMonitor {
  public:
    static constexpr std::size_t kWindow = 50;
    static constexpr double kDoNotTrust = 4.0; ///< per degree of freedom: errors of two sigmas, rms
    /// One outlier counts no more than this per degree of freedom, or a single pulse would hide the next 50 values.
    static constexpr double kCap = 25.0;
    static constexpr double kNormalQuantile = 2.5758293035489004; ///< 0.995

    struct Bounds {
        double lower, upper;
    };
    /// Of the mean per degree of freedom, when there are that many: chi-square quantiles by the cube of a normal one
    /// (E. B. Wilson, M. M. Hilferty, Proc. Natl. Acad. Sci. 17, 1931), right to 0.2 % from 50 on and to a tenth
    /// from 2.
    [[nodiscard]] static Bounds bounds(double degrees) noexcept {
        const double spread = 2 / (9 * degrees);
        const auto quantile = [&](double z) { return std::pow(1 - spread + z * std::sqrt(spread), 3); };
        return {quantile(-kNormalQuantile), quantile(kNormalQuantile)};
    }

    explicit NisMonitor(double tails = 1) noexcept : tails_(tails) {}

    void add(double nis, double degrees = 1) {
        values_[next_] = std::min(nis, kCap * degrees);
        degrees_[next_] = degrees;
        next_ = (next_ + 1) % kWindow;
        count_ = std::min(count_ + 1, kWindow);
        last_ = nis;
    }
    [[nodiscard]] double last() const noexcept { return last_; }
    /// Per degree of freedom.
    [[nodiscard]] double mean() const noexcept { return count_ == 0 ? kNaN : sum(values_) / sum(degrees_); }
    [[nodiscard]] Health health() const noexcept {
        if (count_ < kWindow) return Health::not_enough_data;
        const double m = mean();
        const Bounds expected = bounds(sum(degrees_) / tails_);
        if (m > std::max(kDoNotTrust, expected.upper)) return Health::do_not_trust;
        return m > expected.upper   ? Health::overconfident
               : m < expected.lower ? Health::conservative
                                    : Health::consistent;
    }
    void clear() noexcept { *this = NisMonitor(tails_); }

  private:
    using Ring = std::array<double, kWindow>;
    [[nodiscard]] double sum(const Ring& ring) const noexcept {
        double total = 0.0;
        for (std::size_t i = 0; i < count_; ++i) total += ring[i];
        return total;
    }

    double tails_;
    Ring values_{}, degrees_{};
    std::size_t next_ = 0;
    std::size_t count_ = 0;
    double last_ = kNaN;
};

} // namespace turnstone::estimate
