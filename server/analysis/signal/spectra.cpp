#include "server/analysis/signal/spectra.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <numeric>

#include <unsupported/Eigen/FFT>

#include "server/analysis/statistics/distribution.hpp"

namespace turnstone::analysis {

namespace {

using Bins = std::vector<std::complex<double>>;

/// Windowed transforms of segments, with what turns their squares into one-sided densities.
class Transformer {
  public:
    Transformer(const WelchPlan& plan, double rate_hz)
        : plan_(plan), window_(window_values(plan.window, plan.length)), piece_(plan.length) {
        const double squares = std::inner_product(window_.begin(), window_.end(), window_.begin(), 0.0);
        const double sum = std::accumulate(window_.begin(), window_.end(), 0.0);
        scale_ = plan.scaling == Scaling::density ? 1 / (rate_hz * squares) : 1 / (sum * sum);
    }

    [[nodiscard]] std::size_t bins() const { return plan_.length / 2 + 1; }
    [[nodiscard]] double scale(std::size_t bin) const {
        const bool alone = bin == 0 || (plan_.length % 2 == 0 && bin == plan_.length / 2);
        return alone ? scale_ : 2 * scale_;
    }
    void transform(std::span<const double> segment, Bins& out) {
        const double mean = plan_.detrend == Detrend::mean ? std::accumulate(segment.begin(), segment.end(), 0.0) /
                                                                 static_cast<double>(segment.size())
                                                           : 0.0;
        for (std::size_t i = 0; i < piece_.size(); ++i) piece_[i] = (segment[i] - mean) * window_[i];
        fft_.fwd(out, piece_);
    }

  private:
    WelchPlan plan_;
    std::vector<double> window_;
    std::vector<std::complex<double>> piece_; ///< complex: Eigen's real transform knows even lengths only
    double scale_ = 0;
    Eigen::FFT<double> fft_;
};

std::size_t segments_of(std::size_t samples, const WelchPlan& plan) {
    if (plan.length < 2 || plan.overlap >= plan.length || samples < plan.length) return 0;
    return (samples - plan.overlap) / (plan.length - plan.overlap);
}

/// How many independent segments have the scatter of `count` that overlap (Welch 1967).
double averages_of(std::size_t count, const WelchPlan& plan) {
    const std::vector<double> window = window_values(plan.window, plan.length);
    const double squares = std::inner_product(window.begin(), window.end(), window.begin(), 0.0);
    const std::size_t step = plan.length - plan.overlap;
    double sum = 1;
    for (std::size_t j = 1; j < count && j * step < plan.length; ++j) {
        double product = 0;
        for (std::size_t i = 0; i + j * step < plan.length; ++i) product += window[i] * window[i + j * step];
        const double alike = std::pow(product / squares, 2);
        sum += 2 * (1 - static_cast<double>(j) / static_cast<double>(count)) * alike;
    }
    return static_cast<double>(count) / sum;
}

/// Of runs that were averaged together, each with its own number of segments.
class Averages {
  public:
    explicit Averages(const WelchPlan& plan) : plan_(plan) {}
    void add(std::size_t segments) {
        if (segments == 0) return;
        const auto count = static_cast<double>(segments);
        total_ += segments;
        scatter_ += count * count / averages_of(segments, plan_);
    }
    [[nodiscard]] std::size_t segments() const { return total_; }
    [[nodiscard]] double independent() const {
        const auto count = static_cast<double>(total_);
        return total_ > 0 ? count * count / scatter_ : 0;
    }

  private:
    WelchPlan plan_;
    std::size_t total_ = 0;
    double scatter_ = 0;
};

std::vector<double> frequencies(const WelchPlan& plan, double rate_hz) {
    std::vector<double> out(plan.length / 2 + 1);
    for (std::size_t k = 0; k < out.size(); ++k)
        out[k] = static_cast<double>(k) * rate_hz / static_cast<double>(plan.length);
    return out;
}

} // namespace

WelchPlan plan_for(std::size_t longest_run, std::size_t averages) {
    // With half in common, n segments of length L take (n + 1) L / 2 samples.
    std::size_t length = 16;
    while (length * (averages + 1) <= longest_run) length *= 2;
    return {longest_run < length ? 0 : length, length / 2};
}

std::vector<double> window_values(Window window, std::size_t length) {
    std::vector<double> out(length, 1.0);
    if (window == Window::rectangle) return out;
    const double middle = window == Window::hann ? 0.5 : 0.54;
    for (std::size_t k = 0; k < length; ++k)
        out[k] = middle -
                 (1 - middle) * std::cos(2 * std::numbers::pi * static_cast<double>(k) / static_cast<double>(length));
    return out;
}

Spectra cross_spectra(std::span<const RunPair> runs, double rate_hz, const WelchPlan& plan) {
    Spectra out;
    Averages averages(plan);
    for (const RunPair& run : runs) averages.add(segments_of(std::min(run.x.size(), run.y.size()), plan));
    if (averages.segments() == 0) return out;
    out.segments = averages.segments();
    out.averages = averages.independent();
    out.f_hz = frequencies(plan, rate_hz);
    Transformer transformer(plan, rate_hz);
    const std::size_t bins = transformer.bins();
    out.xx.assign(bins, 0);
    out.yy.assign(bins, 0);
    out.xy.assign(bins, 0);
    Bins x, y;
    for (const RunPair& run : runs)
        for (std::size_t k = 0; k < segments_of(std::min(run.x.size(), run.y.size()), plan); ++k) {
            const std::size_t from = k * (plan.length - plan.overlap);
            transformer.transform(run.x.subspan(from, plan.length), x);
            transformer.transform(run.y.subspan(from, plan.length), y);
            for (std::size_t bin = 0; bin < bins; ++bin) {
                out.xx[bin] += std::norm(x[bin]);
                out.yy[bin] += std::norm(y[bin]);
                out.xy[bin] += std::conj(x[bin]) * y[bin];
            }
        }
    for (std::size_t bin = 0; bin < bins; ++bin) {
        const double factor = transformer.scale(bin) / static_cast<double>(out.segments);
        out.xx[bin] *= factor;
        out.yy[bin] *= factor;
        out.xy[bin] *= factor;
    }
    return out;
}

Density density(std::span<const std::span<const double>> runs, double rate_hz, const WelchPlan& plan) {
    Density out;
    Averages averages(plan);
    for (const auto& run : runs) averages.add(segments_of(run.size(), plan));
    if (averages.segments() == 0) return out;
    out.segments = averages.segments();
    out.averages = averages.independent();
    out.f_hz = frequencies(plan, rate_hz);
    Transformer transformer(plan, rate_hz);
    out.value.assign(transformer.bins(), 0);
    Bins x;
    for (const auto& run : runs)
        for (std::size_t k = 0; k < segments_of(run.size(), plan); ++k) {
            transformer.transform(run.subspan(k * (plan.length - plan.overlap), plan.length), x);
            for (std::size_t bin = 0; bin < out.value.size(); ++bin) out.value[bin] += std::norm(x[bin]);
        }
    for (std::size_t bin = 0; bin < out.value.size(); ++bin)
        out.value[bin] *= transformer.scale(bin) / static_cast<double>(out.segments);
    return out;
}

Interval density_interval(double value, double averages, double confidence) {
    if (!(averages > 0)) return {};
    const ChiSquared chi(2 * averages);
    const double tail = 0.5 * (1 - confidence);
    return {2 * averages * value / quantile(chi, 1 - tail), 2 * averages * value / quantile(chi, tail)};
}

double response_error(double coherence, double averages) {
    if (!(coherence > 0) || !(averages > 0)) return kNone;
    return std::sqrt(std::max(0.0, 1 - coherence) / (coherence * 2 * averages));
}

double coherence_floor(double averages, double confidence) {
    return averages > 1 ? 1 - std::pow(1 - confidence, 1 / (averages - 1)) : 1;
}

std::vector<ResponsePoint> frequency_response(const Spectra& spectra, double confidence) {
    std::vector<ResponsePoint> out;
    const double floor = coherence_floor(spectra.averages, confidence);
    for (std::size_t k = 0; k < spectra.f_hz.size(); ++k) {
        ResponsePoint point{spectra.f_hz[k], kNone, kNone, kNone, false, {}, {}};
        if (spectra.xx[k] > 0 && spectra.yy[k] > 0) {
            const std::complex<double> ratio = spectra.xy[k] / spectra.xx[k];
            point.gain = std::abs(ratio);
            point.phase_rad = std::arg(ratio);
            point.coherence = std::min(1.0, std::norm(spectra.xy[k]) / (spectra.xx[k] * spectra.yy[k]));
            // One segment agrees with itself whatever the signals: nothing follows from that.
            if (spectra.averages > 1.5) {
                point.significant = point.coherence > floor;
                const StudentsT student(2 * (spectra.averages - 1));
                const double half =
                    quantile(student, 0.5 + 0.5 * confidence) * response_error(point.coherence, spectra.averages);
                point.gain_interval = {std::max(0.0, point.gain * (1 - half)), point.gain * (1 + half)};
                if (half < 0.5 * std::numbers::pi)
                    point.phase_interval_rad = {point.phase_rad - half, point.phase_rad + half};
            }
        }
        out.push_back(point);
    }
    return out;
}

Spectrogram spectrogram(std::span<const PlacedRun> runs, double rate_hz, const WelchPlan& plan) {
    Spectrogram out;
    if (plan.length < 2 || plan.overlap >= plan.length) return out;
    out.f_hz = frequencies(plan, rate_hz);
    for (const PlacedRun& run : runs)
        for (std::size_t k = 0; k < segments_of(run.value.size(), plan); ++k) {
            const std::size_t from = k * (plan.length - plan.overlap);
            const std::array<std::span<const double>, 1> one{run.value.subspan(from, plan.length)};
            out.density.push_back(density(one, rate_hz, plan).value);
            out.t_s.push_back(run.start_s +
                              (static_cast<double>(from) + 0.5 * static_cast<double>(plan.length - 1)) / rate_hz);
        }
    return out;
}

} // namespace turnstone::analysis
