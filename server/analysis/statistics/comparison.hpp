#pragma once
/// Two samples, or several, compared: before against after, one test against another.
///
/// Welch's t: B. L. Welch, Biometrika 34 (1947), 28-35. Brown-Forsythe: M. B. Brown, A. B. Forsythe, Journal of the
/// American Statistical Association 69 (1974), 364-367. Equivalence by two one-sided tests: D. J. Schuirmann, Journal
/// of Pharmacokinetics and Biopharmaceutics 15 (1987), 657-680. F and the rest: NIST/SEMATECH e-Handbook, 1.3.5.3 to
/// 1.3.5.9. Checked against scipy and statsmodels, tests/reference/numerics/stats.json and numerics2/power.json.
///
/// What is undefined is NaN and is to be said so: a group of one value has no spread, and equal groups without any have
/// no t.
#include <span>

#include "server/analysis/statistics/summary.hpp"

namespace turnstone::analysis {

struct TTest {
    double difference = kNone; ///< mean of the first minus mean of the second
    double standard_error = kNone;
    double t = kNone;
    double freedom = kNone; ///< degrees of freedom
    double p = kNone;       ///< two-sided
};

/// Do the means differ? Spreads may.
[[nodiscard]] TTest welch_t(const Summary& a, const Summary& b);
[[nodiscard]] Interval difference_interval(const TTest& test, double confidence = 0.95);
/// The p-value that the means differ by `margin` or more, either way: small says that they are the same for all
/// practical purposes, which a large p of the t test does not.
[[nodiscard]] double equivalence_p(const TTest& test, double margin);

struct FTest {
    double f = kNone;
    double freedom_above = kNone; ///< of the numerator
    double freedom_below = kNone;
    double p = kNone;
};

/// Do the spreads differ? `f` is the first variance over the second, p two-sided. Only for values that are close to
/// normal; brown_forsythe() does not mind.
[[nodiscard]] FTest variance_ratio(const Summary& a, const Summary& b);
[[nodiscard]] Interval ratio_interval(const FTest& test, double confidence = 0.95);
/// Do the spreads differ, by the distances from each group's median? p is one-sided, as the test has it.
[[nodiscard]] FTest brown_forsythe(std::span<const std::span<const double>> groups);
[[nodiscard]] FTest brown_forsythe(std::span<const double> a, std::span<const double> b);

/// Difference of the means in pooled standard deviations.
struct EffectSize {
    double cohen_d = kNone;
    double hedges_g = kNone; ///< the same without what small samples add
};

[[nodiscard]] EffectSize effect_size(const Summary& a, const Summary& b);

} // namespace turnstone::analysis
