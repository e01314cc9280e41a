#pragma once
/// Averaged spectra of even runs of samples: density, cross-spectrum and what intervals they deserve.
///
/// P. D. Welch, IEEE Trans. Audio Electroacoust. AU-15, 1967: segments that overlap, each with its mean removed and a
/// window laid over it, transformed and averaged. One-sided: every bin but 0 and half the rate is doubled; the windows
/// are periodic, the last incomplete segment of a run is dropped, the cross-spectrum is the mean of conj(X) Y. These
/// are the conventions of scipy.signal.welch and csd, checked in tests/reference/numerics/spectral.json. Intervals: J.
/// S. Bendat, A. G. Piersol, Random Data, 4th ed., 2010, ch. 8 and 9, with Welch's count of averages that overlap in
/// place of theirs.
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "server/analysis/statistics/summary.hpp"

namespace turnstone::analysis {

enum class Window : unsigned char { hann, hamming, rectangle };
enum class Detrend : unsigned char { none, mean };
enum class Scaling : unsigned char {
    density, ///< unit squared per hertz: its area is the mean square
    power    ///< unit squared: the height of a sine's peak is half its amplitude squared
};

struct WelchPlan {
    std::size_t length;  ///< samples in a segment
    std::size_t overlap; ///< samples that a segment has in common with the next
    Window window = Window::hann;
    Detrend detrend = Detrend::mean;
    Scaling scaling = Scaling::density;
};

/// Half of each segment in common with the next, and as many segments as give `averages` or more out of the longest
/// run; the length is a power of two of at least 16, or 0 when the run is too short.
[[nodiscard]] WelchPlan plan_for(std::size_t longest_run, std::size_t averages = 8);

[[nodiscard]] std::vector<double> window_values(Window window, std::size_t length);

/// One run of two channels, of the same length.
struct RunPair {
    std::span<const double> x, y;
};

struct Spectra {
    std::vector<double> f_hz, xx, yy;
    std::vector<std::complex<double>> xy;
    std::size_t segments = 0; ///< 0: no run is as long as one, and everything is empty
    double averages = 0;      ///< independent ones that have the same scatter
};
[[nodiscard]] Spectra cross_spectra(std::span<const RunPair> runs, double rate_hz, const WelchPlan& plan);

struct Density {
    std::vector<double> f_hz, value;
    std::size_t segments = 0;
    double averages = 0;
};
[[nodiscard]] Density density(std::span<const std::span<const double>> runs, double rate_hz, const WelchPlan& plan);
/// Where the true density lies when `value` was found: chi-square with twice the averages. For noise, not for sines.
[[nodiscard]] Interval density_interval(double value, double averages, double confidence = 0.95);

/// How y follows x, at one frequency.
struct ResponsePoint {
    double f_hz;
    double gain;
    double phase_rad; ///< of y against x, -pi to pi
    double coherence; ///< 0 to 1, squared
    bool significant; ///< the coherence is one that unrelated signals reach in 5 % of cases only
    Interval gain_interval;
    Interval phase_interval_rad; ///< NaN when nothing can be said: the phase may be any
};
/// H1 = xy / xx. An empty bin of x has no response: NaN.
[[nodiscard]] std::vector<ResponsePoint> frequency_response(const Spectra& spectra, double confidence = 0.95);
/// 1-sigma of the gain, relative, and of the phase in radians.
[[nodiscard]] double response_error(double coherence, double averages);
/// What the coherence of unrelated signals stays below with this confidence; 1 when there is one average.
[[nodiscard]] double coherence_floor(double averages, double confidence = 0.95);

/// Density against time: a column a segment.
struct Spectrogram {
    std::vector<double> t_s; ///< middles of the segments
    std::vector<double> f_hz;
    std::vector<std::vector<double>> density; ///< one a segment
};
struct PlacedRun {
    double start_s;
    std::span<const double> value;
};
[[nodiscard]] Spectrogram spectrogram(std::span<const PlacedRun> runs, double rate_hz, const WelchPlan& plan);

} // namespace turnstone::analysis
