#include "server/analysis/guidance/loop.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

namespace turnstone::analysis {

namespace {

using Complex = std::complex<double>;
using Polynomial = std::vector<double>; ///< highest power first

Polynomial times(const Polynomial& a, const Polynomial& b) {
    Polynomial out(a.size() + b.size() - 1, 0.0);
    for (std::size_t i = 0; i < a.size(); ++i)
        for (std::size_t k = 0; k < b.size(); ++k) out[i + k] += a[i] * b[k];
    return out;
}

Polynomial plus(Polynomial a, Polynomial b) {
    if (a.size() < b.size()) std::swap(a, b);
    for (std::size_t i = 0; i < b.size(); ++i) a[a.size() - b.size() + i] += b[i];
    return a;
}

Complex at(const Polynomial& polynomial, Complex s) {
    Complex out = 0;
    for (const double coefficient : polynomial) out = out * s + coefficient;
    return out;
}

/// L(s) = num(s) / den(s) exp(-s T)
struct Loop {
    Polynomial num, den;
    double delay_s;

    [[nodiscard]] Complex operator()(double w) const {
        const Complex s(0, w);
        return at(num, s) / at(den, s) * std::exp(-s * delay_s);
    }
    [[nodiscard]] Complex closed(Complex s) const { return at(den, s) + at(num, s) * std::exp(-s * delay_s); }
};

Loop loop_of(const Law& law, double factor, const AxisPlant& plant) {
    // From the fin to the angle; to the rate it is that times s, which cancels where nothing swings back.
    const bool swings = plant.stiffness_per_s2 != 0;
    Loop loop{{1}, {1, -plant.damping_per_s, plant.stiffness_per_s2}, plant.delay_s};
    if (!law.of_angle() && !swings) loop.den = {1, -plant.damping_per_s};
    if (plant.drive_lag_s > 0) loop.den = times(loop.den, {plant.drive_lag_s, 1});
    if (law.form == LawForm::state_feedback) {
        loop.num = {law.rate, law.angle};
    } else {
        loop.num = {law.kp};
        if (law.ki != 0) {
            loop.num = {law.kp, law.ki};
            loop.den = times(loop.den, {1, 0});
        }
        if (law.kd != 0) {
            const Polynomial filter{law.derivative_filter_s, 1};
            Polynomial slope{law.kd, 0};
            if (law.ki != 0) slope.push_back(0);
            loop.num = plus(times(loop.num, filter), slope);
            loop.den = times(loop.den, filter);
        }
    }
    if (!law.of_angle() && swings) loop.num.push_back(0);
    for (double& coefficient : loop.num) coefficient *= factor * plant.effect_per_s2;
    return loop;
}

constexpr double kRadius = 3000, kLeast = 1e-6; ///< rad/s

/// How far the phase of `closed` turns from `a` to `b`; halved until no step can hide a turn.
template <class Path>
double turned(const Loop& loop, const Path& path, double a, Complex value_a, double b, Complex value_b, int depth) {
    const double turn = std::arg(value_b / value_a);
    if (depth == 0 || std::abs(turn) < 0.3) return turn;
    const double middle = 0.5 * (a + b);
    const Complex value = loop.closed(path(middle));
    return turned(loop, path, a, value_a, middle, value, depth - 1) +
           turned(loop, path, middle, value, b, value_b, depth - 1);
}

/// No zero of den + num exp(-s T) in a half disc of the right half plane that is larger than the loop's own rates.
bool is_stable(const Loop& loop) {
    double total = 0;
    const auto along = [&](const auto& path, const std::vector<double>& marks) {
        for (std::size_t i = 1; i < marks.size(); ++i)
            total += turned(loop, path, marks[i - 1], loop.closed(path(marks[i - 1])), marks[i],
                            loop.closed(path(marks[i])), 24);
    };
    std::vector<double> up, arc;
    for (int i = 0; i <= 4000; ++i) up.push_back(kLeast * std::pow(kRadius / kLeast, i / 4000.0));
    for (int i = 0; i <= 4000; ++i) arc.push_back(0.5 * std::numbers::pi * (1 - i / 4000.0));
    // The upper half counts twice: the function is real on the real axis. From zero up, then back along the arc.
    along([](double w) { return Complex(0, w); }, up);
    along([](double angle) { return std::polar(kRadius, angle); }, arc);
    // Closed by the real axis, where it may change its sign.
    const auto real_axis = [](double x) { return Complex(x, 0); };
    std::vector<double> back;
    for (int i = 4000; i >= 0; --i) back.push_back(up[static_cast<std::size_t>(i)]);
    for (std::size_t i = 1; i < back.size(); ++i)
        if (loop.closed(real_axis(back[i - 1])).real() * loop.closed(real_axis(back[i])).real() <= 0) return false;
    return std::lround(total / std::numbers::pi) == 0;
}

/// Where `value` changes its sign between two frequencies.
template <class Value>
double crossing(const Value& value, double low, double high) {
    const bool below = value(low) < 0;
    for (int i = 0; i < 80; ++i) {
        const double middle = std::sqrt(low * high);
        ((value(middle) < 0) == below ? low : high) = middle;
    }
    return std::sqrt(low * high);
}

} // namespace

double Margins::gain_db() const {
    return 20 * std::log10(gain);
}

Margins loop_margins(const Law& law, double factor, const AxisPlant& plant) {
    const Loop loop = loop_of(law, factor, plant);
    Margins out;
    if (std::ranges::all_of(loop.num, [](double c) { return c == 0; })) {
        out.stable = plant.damping_per_s < 0 && plant.stiffness_per_s2 >= 0;
        return out;
    }
    out.stable = is_stable(loop);
    constexpr int kPerDecade = 1000, kDecades = 7;
    constexpr double kLowest = 1e-3;
    // Beyond this the delay alone makes crossings without end, each at less gain than the one before.
    constexpr double kGainCrossingsTo = 2000;
    const auto size = [&](double w) { return std::abs(loop(w)) - 1; };
    const auto across = [&](double w) { return loop(w).imag(); };
    double w = kLowest, size_w = size(w), across_w = across(w), nearest = std::abs(1.0 + loop(w)), nearest_w = w;
    for (int i = 1; i <= kPerDecade * kDecades; ++i) {
        const double next = kLowest * std::pow(10.0, static_cast<double>(i) / kPerDecade);
        const double size_next = size(next), across_next = across(next);
        if ((size_w < 0) != (size_next < 0)) {
            const double at_w = crossing(size, w, next);
            double phase = std::arg(loop(at_w)) + std::numbers::pi;
            if (phase > std::numbers::pi) phase -= 2 * std::numbers::pi;
            if (std::isnan(out.phase_rad) || std::abs(phase) < std::abs(out.phase_rad)) out.phase_rad = phase;
            const double delay_s = (phase < 0 ? phase + 2 * std::numbers::pi : phase) / at_w;
            if (out.stable && !(out.delay_s <= delay_s)) out.delay_s = delay_s;
        }
        if ((across_w < 0) != (across_next < 0) && w < kGainCrossingsTo) {
            const double at_w = crossing(across, w, next);
            const Complex value = loop(at_w);
            const double gain = 1 / std::abs(value);
            if (value.real() < 0 && gain > 1 && !(out.gain <= gain)) out.gain = gain;
            if (value.real() < 0 && gain < 1 && !(out.gain_less >= gain)) out.gain_less = gain;
        }
        if (const double distance = std::abs(1.0 + loop(next)); distance < nearest) {
            nearest = distance;
            nearest_w = next;
        }
        w = next;
        size_w = size_next;
        across_w = across_next;
    }
    // Golden section around the nearest point of the net.
    const double step = std::pow(10.0, 1.0 / kPerDecade);
    double low = nearest_w / step, high = nearest_w * step;
    for (int i = 0; i < 60; ++i) {
        const double a = low + 0.382 * (high - low), b = low + 0.618 * (high - low);
        if (std::abs(1.0 + loop(a)) < std::abs(1.0 + loop(b)))
            high = b;
        else
            low = a;
    }
    out.sensitivity = 1 / std::min(nearest, std::abs(1.0 + loop(0.5 * (low + high))));
    return out;
}

} // namespace turnstone::analysis
