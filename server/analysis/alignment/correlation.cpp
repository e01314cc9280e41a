#include "server/analysis/alignment/correlation.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <complex>
#include <limits>

#include <unsupported/Eigen/FFT>

namespace turnstone::analysis {

namespace {

using GridSpectrum = std::vector<std::complex<double>>;

constexpr double kNoValue = std::numeric_limits<double>::quiet_NaN();
/// A common part that varies less than this part of the whole (as a variance) says nothing: it is rest, or rounding.
constexpr double kVariancePart = 1e-4;

/// A signal without its mean, its square, and where it has values, as transforms.
struct TransformedGrid {
    GridSpectrum value, square, mask;
    double variance = 0; ///< of the whole signal, summed
};

class GridTransform {
  public:
    explicit GridTransform(std::size_t points) : points_(points) {}

    TransformedGrid of(const Grid& signal) {
        double sum = 0;
        std::size_t count = 0;
        for (const double value : signal)
            if (std::isfinite(value)) {
                sum += value;
                ++count;
            }
        const double mean = count > 0 ? sum / static_cast<double>(count) : 0;
        std::vector<double> value(points_), square(points_), mask(points_);
        TransformedGrid out;
        for (std::size_t i = 0; i < signal.size(); ++i) {
            if (!std::isfinite(signal[i])) continue;
            value[i] = signal[i] - mean;
            square[i] = value[i] * value[i];
            mask[i] = 1;
            out.variance += square[i];
        }
        fft_.fwd(out.value, value);
        fft_.fwd(out.square, square);
        fft_.fwd(out.mask, mask);
        return out;
    }

    /// Sum over i of a[i] b[i - lag], by lag modulo the number of points.
    std::vector<double> product(const GridSpectrum& a, const GridSpectrum& b) {
        GridSpectrum both(a.size());
        for (std::size_t i = 0; i < a.size(); ++i) both[i] = a[i] * std::conj(b[i]);
        std::vector<double> out(points_);
        fft_.inv(out, both);
        return out;
    }

  private:
    std::size_t points_;
    Eigen::FFT<double> fft_;
};

} // namespace

Grid on_grid(std::span<const double> times_s, std::span<const double> values, double from_s, double step_s,
             std::size_t points, double gap_s) {
    Grid out(points, kNoValue);
    std::size_t right = 0;
    for (std::size_t i = 0; i < points; ++i) {
        const double t_s = from_s + static_cast<double>(i) * step_s;
        while (right < times_s.size() && times_s[right] < t_s) ++right;
        if (right == times_s.size()) break;
        if (times_s[right] == t_s) {
            out[i] = values[right];
            continue;
        }
        if (right == 0 || times_s[right] - times_s[right - 1] > gap_s) continue;
        const double fraction = (t_s - times_s[right - 1]) / (times_s[right] - times_s[right - 1]);
        out[i] = values[right - 1] + fraction * (values[right] - values[right - 1]);
    }
    return out;
}

LagCorrelation correlate(const Grid& fixed, const Grid& moved, double overlap_least) {
    const std::size_t lags = fixed.size() + moved.size() - 1;
    const std::size_t points = std::bit_ceil(lags);
    GridTransform transform(points);
    const TransformedGrid f = transform.of(fixed), m = transform.of(moved);
    const auto count = transform.product(f.mask, m.mask);
    const auto f_sum = transform.product(f.value, m.mask), m_sum = transform.product(f.mask, m.value);
    const auto f_squares = transform.product(f.square, m.mask), m_squares = transform.product(f.mask, m.square);
    const auto both = transform.product(f.value, m.value);

    LagCorrelation out{std::vector<double>(lags, kNoValue), moved.size() - 1};
    for (std::size_t k = 0; k < lags; ++k) {
        const std::size_t at = (k + points - out.zero) % points;
        const double n = std::round(count[at]);
        if (n < overlap_least) continue;
        const double f_variance = f_squares[at] - f_sum[at] * f_sum[at] / n;
        const double m_variance = m_squares[at] - m_sum[at] * m_sum[at] / n;
        if (f_variance < kVariancePart * f.variance || m_variance < kVariancePart * m.variance) continue;
        if (!(f_variance > 0 && m_variance > 0)) continue;
        out.coefficient[k] =
            std::clamp((both[at] - f_sum[at] * m_sum[at] / n) / std::sqrt(f_variance * m_variance), -1.0, 1.0);
    }
    return out;
}

} // namespace turnstone::analysis
