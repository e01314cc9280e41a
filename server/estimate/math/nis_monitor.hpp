#pragma once
/// Whether a filter's innovations are as large as it claims: the average of the normalised innovation squared over the
/// last 50 scalar measurements against the chi-square bounds of that average (Bar-Shalom, Li, Kirubarajan 2001, section
/// 5.4; 50 degrees of freedom, two-sided 99 %).
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

class NisMonitor {
  public:
    static constexpr std::size_t kWindow = 50;
    static constexpr double kLower = 0.5598149773274664; ///< chi-square quantile 0.005, over 50
    static constexpr double kUpper = 1.5897995693365785; ///< quantile 0.995
    static constexpr double kDoNotTrust = 4.0;           ///< errors of two sigmas, rms
    /// One outlier counts no more than this, or a single pulse would hide the next 50 values.
    static constexpr double kCap = 25.0;

    void add(double nis) {
        values_[next_] = std::min(nis, kCap);
        next_ = (next_ + 1) % kWindow;
        count_ = std::min(count_ + 1, kWindow);
        last_ = nis;
    }
    [[nodiscard]] double last() const noexcept { return last_; }
    [[nodiscard]] double mean() const noexcept {
        if (count_ == 0) return kNaN;
        double sum = 0.0;
        for (std::size_t i = 0; i < count_; ++i) sum += values_[i];
        return sum / static_cast<double>(count_);
    }
    [[nodiscard]] Health health() const noexcept {
        if (count_ < kWindow) return Health::not_enough_data;
        const double m = mean();
        if (m > kDoNotTrust) return Health::do_not_trust;
        return m > kUpper ? Health::overconfident : m < kLower ? Health::conservative : Health::consistent;
    }
    void clear() noexcept { *this = NisMonitor{}; }

  private:
    std::array<double, kWindow> values_{};
    std::size_t next_ = 0;
    std::size_t count_ = 0;
    double last_ = kNaN;
};

} // namespace turnstone::estimate
