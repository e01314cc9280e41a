#pragma once
/// The two random processes of the translation filter, made discrete in closed form for any step.
///
/// Acceleration: R. A. Singer, "Estimating optimal tracking filter performance for manned maneuvering targets", IEEE
/// Trans. AES-6(4), 1970, 473-483: da/dt = -a/tau + w. Slow errors: first-order Gauss-Markov, A. Gelb (ed.), "Applied
/// Optimal Estimation", MIT Press 1974.
#include <cmath>

#include <Eigen/Core>

namespace turnstone::estimate {

/// One axis of [position, velocity, acceleration].
struct SingerStep {
    Eigen::Matrix3d transition, noise;
};

/// `tau_s` > 0; `sigma_mps2` of the acceleration in its steady state.
[[nodiscard]] inline SingerStep singer_step(double step_s, double tau_s, double sigma_mps2) {
    const double x = step_s / tau_s, e1 = std::exp(-x), e2 = e1 * e1;
    // Singer's closed forms lose all digits for steps short against tau; there their power series, which are sums of
    // (-x)^n / n! times the factors below from the first that does not vanish, are exact.
    double ramp = x - 1 + e1, f11 = 1 - e2 + 2 * x + 2 * x * x * x / 3 - 2 * x * x - 4 * x * e1;
    double f12 = e2 + 1 - 2 * e1 + 2 * x * e1 - 2 * x + x * x, f13 = 1 - e2 - 2 * x * e1, f22 = 4 * e1 - 3 - e2 + 2 * x;
    if (x < 1) {
        ramp = f11 = f12 = f13 = f22 = 0;
        double term = 1, power_of_two = 1;
        for (int n = 1; n <= 24; ++n) {
            term *= -x / n;
            power_of_two *= 2;
            if (n >= 2) ramp += term;
            if (n >= 5) f11 += term * (4 * n - power_of_two);
            if (n >= 4) f12 += term * (power_of_two - 2 - 2 * n);
            if (n >= 3) f13 += term * (2 * n - power_of_two);
            if (n >= 3) f22 += term * (4 - power_of_two);
        }
    }
    const double reached = -std::expm1(-x), s2 = sigma_mps2 * sigma_mps2, t2 = tau_s * tau_s;
    SingerStep out;
    out.transition << 1, step_s, ramp * t2, 0, 1, reached * tau_s, 0, 0, e1;
    const double q11 = s2 * t2 * t2 * f11, q12 = s2 * t2 * tau_s * f12, q13 = s2 * t2 * f13;
    const double q22 = s2 * t2 * f22, q23 = s2 * tau_s * reached * reached, q33 = -s2 * std::expm1(-2 * x);
    out.noise << q11, q12, q13, q12, q22, q23, q13, q23, q33;
    return out;
}

/// What an acceleration's steady mean of 1 m/s2 adds to [position, velocity, acceleration] over a step.
[[nodiscard]] inline Eigen::Vector3d singer_mean(double step_s, const SingerStep& step) {
    return {0.5 * step_s * step_s - step.transition(0, 2), step_s - step.transition(1, 2), 1 - step.transition(2, 2)};
}

struct GaussMarkovStep {
    double transition;
    double variance; ///< added
};

[[nodiscard]] inline GaussMarkovStep gauss_markov_step(double step_s, double tau_s, double sigma) noexcept {
    return {std::exp(-step_s / tau_s), -sigma * sigma * std::expm1(-2 * step_s / tau_s)};
}

} // namespace turnstone::estimate
