#pragma once
/// Two Kalman filters side by side, each with a model of its own, and the probability of each: the interacting
/// multiple model estimator (Bar-Shalom, Li, Kirubarajan 2001, section 11.6.6). A cycle is mix(), the two filters'
/// own prediction and update, weigh(); combined() is what is stated. Likelihoods are taken as logarithms, since one
/// outlier puts both below the smallest double. Checked in tests/estimate/math/test_two_models.cpp.
#include <algorithm>
#include <array>
#include <cmath>

#include "server/estimate/math/kalman.hpp"

namespace turnstone::estimate {

/// probability[i][j]: of model j now, given model i before; rows add up to one.
using ModelChange = std::array<std::array<double, 2>, 2>;

template <int N>
struct TwoModels {
    std::array<KalmanState<N>, 2> model;
    std::array<double, 2> probability{1.0, 0.0};
};

/// Two Gaussians as one, the spread of their means in the covariance.
template <int N>
[[nodiscard]] KalmanState<N> merged(const std::array<KalmanState<N>, 2>& model, double first, double second) {
    KalmanState<N> out;
    out.x = first * model[0].x + second * model[1].x;
    const Eigen::Matrix<double, N, 1> apart = model[1].x - model[0].x;
    out.covariance =
        first * model[0].covariance + second * model[1].covariance + (first * second) * apart * apart.transpose();
    return out;
}

/// Each filter starts its cycle from what both know, if its model has just become true.
template <int N>
void mix(TwoModels<N>& pair, const ModelChange& change) {
    const std::array<KalmanState<N>, 2> before = pair.model;
    std::array<double, 2> expected{};
    for (std::size_t j = 0; j < 2; ++j) {
        const double from_first = change[0][j] * pair.probability[0];
        const double from_second = change[1][j] * pair.probability[1];
        expected[j] = from_first + from_second;
        if (expected[j] > 0.0) pair.model[j] = merged<N>(before, from_first / expected[j], from_second / expected[j]);
    }
    pair.probability = expected;
}

/// Bayes' rule, by the logarithm of each model's likelihood.
inline void weigh(std::array<double, 2>& probability, const std::array<double, 2>& log_likelihood) {
    const double greatest = std::max(log_likelihood[0], log_likelihood[1]);
    double sum = 0.0;
    for (std::size_t j = 0; j < 2; ++j) {
        probability[j] *= std::exp(log_likelihood[j] - greatest);
        sum += probability[j];
    }
    // The likelier model may have had no probability at all: then likelihood decides.
    if (!(sum > 1e-300)) {
        probability = {log_likelihood[0] >= log_likelihood[1] ? 1.0 : 0.0, 0.0};
        probability[1] = 1.0 - probability[0];
        return;
    }
    for (double& p : probability) p /= sum;
}

template <int N>
[[nodiscard]] KalmanState<N> combined(const TwoModels<N>& pair) {
    return merged<N>(pair.model, pair.probability[0], pair.probability[1]);
}

} // namespace turnstone::estimate
