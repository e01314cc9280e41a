#pragma once
/// The table "onboard_comparison": for each estimate of the vehicle's own, ground − on board at its time, with the
/// 1-sigma to expect of the difference if the vehicle's estimate is as good as the ground's, and a verdict for each
/// quantity: whether the differences of the last seconds are of that size. Angles in degrees.
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

#include "server/estimate/measurements.hpp"
#include "server/estimate/navigation/navigation.hpp"
#include "server/estimate/table.hpp"
#include "server/estimate/translation/translation_estimate.hpp"
#include "server/estimate/vertical/vertical_filter.hpp"

namespace turnstone::estimate {

/// Of differences against what is expected of them.
enum class Agreement : unsigned char {
    not_enough_data, ///< of half a second
    consistent,
    differs ///< twice the expected size and more, rms
};
consteval auto words_of(Agreement) {
    return words<Agreement::differs>("not enough data yet", "consistent", "differs");
}

/// Judges one quantity's differences by the mean of (difference / sigma)² over the last 2 s.
class AgreementMonitor {
  public:
    /// NaN says nothing.
    void add(std::int64_t t_ns, double difference, double sigma) noexcept;
    [[nodiscard]] Agreement verdict() const noexcept;

  private:
    double mean_ = 0;
    double seen_s_ = 0;
    std::int64_t t_ns_ = 0;
};

/// Ground − on board, and the 1-sigma to expect. NaN where one of the two does not know it.
struct OnboardDifference {
    double value = kNaN, sigma = kNaN;
    Agreement verdict = Agreement::not_enough_data;
};
struct OnboardComparison {
    enum Quantity : std::size_t { kAltitude, kVerticalSpeed, kSpeed, kAttitude, kLongAxis, kCount };
    std::array<OnboardDifference, kCount> of; ///< m, m/s, m/s, rad, rad: angles between the two attitudes, the noses
};
[[nodiscard]] TableOf<OnboardComparison> onboard_comparison_table();

class OnboardReport {
  public:
    /// Appends its table to `tables`.
    explicit OnboardReport(std::vector<TableDescription>& tables);

    /// What the ground knows at that time: `vertical` as stated, `navigation` null without attitude.
    void write(const OnboardSample& onboard, const VerticalEstimate& vertical, const TranslationEstimate& translation,
               const Navigation* navigation, EstimateSink& sink);

  private:
    std::array<AgreementMonitor, OnboardComparison::kCount> monitors_;
    RowWriter<OnboardComparison> rows_;
};

} // namespace turnstone::estimate
