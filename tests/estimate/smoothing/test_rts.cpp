// The backward pass against tests/reference/numerics/kalman_steady.json (Rauch, Tung and Striebel's smoother in numpy),
// against one joint Gaussian of all states and measurements, and against the true covariance of its errors.
#include <catch2/catch.hpp>

#include <cmath>
#include <random>
#include <vector>

#include <Eigen/Dense>

#include "server/estimate/smoothing/forward_pass.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone::estimate;
using nlohmann::json;

namespace {

const auto kGoOn = [](std::size_t) { return true; };

template <int R, int C>
Eigen::Matrix<double, R, C> of_json(const json& rows) {
    Eigen::Matrix<double, R, C> m;
    for (int i = 0; i < R; ++i)
        for (int k = 0; k < C; ++k) m(i, k) = rows.at(static_cast<std::size_t>(i)).at(static_cast<std::size_t>(k));
    return m;
}

/// A system of three states with a measurement of one combination at each step.
struct System {
    Eigen::Matrix3d transition, noise;
    Eigen::RowVector3d observation;
    double variance;
};

/// x2 is known exactly until step 4; at step 7 x1 is begun again.
std::vector<System> systems() {
    std::mt19937 random(20);
    std::uniform_real_distribution<double> part(-1, 1);
    std::vector<System> all;
    for (int k = 0; k < 12; ++k) {
        System one;
        one.transition << 1, 0.3, 0, 0, 0.9, 0, 0, 0, 1;
        one.noise = Eigen::Vector3d(0.02, 0.3, k < 4 ? 0.0 : 0.1).asDiagonal();
        if (k == 7) {
            one.transition.row(1).setZero();
            one.noise(1, 1) = 4;
        }
        one.observation << 1, part(random), part(random);
        one.variance = 0.5 + part(random) * part(random);
        all.push_back(one);
    }
    return all;
}

} // namespace

TEST_CASE("a constant-velocity sequence is smoothed as the reference has it") {
    const json& c = turnstone::test::reference_case("numerics/kalman_steady.json", "sequence_cv_baro_250");
    const json& in = c.at("inputs");
    const auto f = of_json<2, 2>(in.at("F"));
    const auto q = of_json<2, 2>(in.at("Q"));
    const auto h = of_json<1, 2>(in.at("H"));
    const auto r = of_json<1, 1>(in.at("R"));
    KalmanState<2> state{{in.at("x0")[0].get<double>(), in.at("x0")[1].get<double>()}, of_json<2, 2>(in.at("P0"))};
    ForwardPass<2> pass;
    std::int64_t t_ns = 0;
    for (const json& z : in.at("z")) {
        kalman_predict<2>(state, f, q);
        const KalmanState<2> predicted = state;
        kalman_correct<2, 1>(state, kalman_innovation<2, 1>(state, Eigen::Matrix<double, 1, 1>(z.get<double>()), h, r),
                             h, r);
        pass.transition() = (f * pass.transition()).eval();
        pass.keep(++t_ns, predicted, state);
    }
    const auto back = smoothed<2>(pass.steps(), kGoOn);
    const json& rows = c.at("expected").at("rts_smoothed_rows");
    REQUIRE(c.at("expected").at("rts_smoothed_columns") == json{"h", "v", "P00", "P01", "P11"});
    REQUIRE(rows.size() == back.size());
    int wrong = 0;
    for (std::size_t k = 0; k < rows.size(); ++k) {
        const double found[] = {back[k].x(0), back[k].x(1), back[k].covariance(0, 0), back[k].covariance(0, 1),
                                back[k].covariance(1, 1)};
        for (std::size_t i = 0; i < 5; ++i)
            wrong += !(std::abs(found[i] - rows[k][i].get<double>()) <= 1e-9 * (1 + std::abs(found[i])));
    }
    CHECK(wrong == 0);
}

TEST_CASE("states that are known exactly or begun again are smoothed as one joint Gaussian has them") {
    const std::vector<System> steps = systems();
    const auto count = static_cast<Eigen::Index>(steps.size());
    const Eigen::Matrix3d before = Eigen::Vector3d(2, 1, 0).asDiagonal();
    // The joint covariance of all states, from the same model written as one: x_k = F_k x_(k-1) + w_k.
    Eigen::MatrixXd joint = Eigen::MatrixXd::Zero(3 * count, 3 * count);
    Eigen::MatrixXd observe = Eigen::MatrixXd::Zero(count, 3 * count), noise = Eigen::MatrixXd::Zero(count, count);
    Eigen::Matrix3d last = before;
    Eigen::VectorXd measured(count);
    for (Eigen::Index k = 0; k < count; ++k) {
        const System& one = steps[static_cast<std::size_t>(k)];
        last = one.transition * last * one.transition.transpose() + one.noise;
        joint.block<3, 3>(3 * k, 3 * k) = last;
        for (Eigen::Index j = 0; j < k; ++j) {
            const Eigen::Matrix3d with = one.transition * joint.block<3, 3>(3 * (k - 1), 3 * j);
            joint.block<3, 3>(3 * k, 3 * j) = with;
            joint.block<3, 3>(3 * j, 3 * k) = with.transpose();
        }
        observe.block<1, 3>(k, 3 * k) = one.observation;
        noise(k, k) = one.variance;
        measured(k) = std::sin(1.7 * static_cast<double>(k));
    }
    const Eigen::MatrixXd gain =
        joint * observe.transpose() * (observe * joint * observe.transpose() + noise).inverse();
    const Eigen::VectorXd expected = gain * measured;
    const Eigen::MatrixXd expected_covariance = joint - gain * observe * joint;

    KalmanState<3> state{Eigen::Vector3d::Zero(), before};
    ForwardPass<3> pass;
    for (Eigen::Index k = 0; k < count; ++k) {
        const System& one = steps[static_cast<std::size_t>(k)];
        kalman_predict<3>(state, one.transition, one.noise);
        const KalmanState<3> predicted = state;
        const Eigen::Matrix<double, 1, 1> z(measured(k)), r(one.variance);
        kalman_correct<3, 1>(state, kalman_innovation<3, 1>(state, z, one.observation, r), one.observation, r);
        pass.transition() = (one.transition * pass.transition()).eval();
        pass.keep(k, predicted, state);
    }
    const auto back = smoothed<3>(pass.steps(), kGoOn);
    for (Eigen::Index k = 0; k < count; ++k) {
        INFO("step " << k);
        const auto& found = back[static_cast<std::size_t>(k)];
        CHECK((found.x - expected.segment<3>(3 * k)).norm() < 1e-9);
        CHECK((found.covariance - expected_covariance.block<3, 3>(3 * k, 3 * k)).norm() < 1e-9);
        // Never worse than the filter.
        CHECK((found.covariance.diagonal().array() <=
               pass.steps()[static_cast<std::size_t>(k)].corrected.covariance.diagonal().array() + 1e-12)
                  .all());
    }
}

TEST_CASE("behind a filter that only considers a state the covariance is that of the errors") {
    // Errors are linear in what is random: the state before the first step (3), each step's noise (3), each
    // measurement's (1), here each of variance one. Both passes are run on the coefficients.
    constexpr int kSteps = 10, kRandom = 3 + 4 * kSteps;
    using Coefficients = Eigen::Matrix3Xd; // of a fixed size it took minutes to compile
    Eigen::Matrix3d transition, root;
    transition << 1, 0.5, 0, 0, 1, 0, 0, 0, 1;
    root = Eigen::Vector3d(0.1, 0.4, 0.05).asDiagonal();
    const Eigen::Matrix3d start = Eigen::Vector3d(1, 1, 0.8).asDiagonal(); // roots
    Eigen::RowVector3d observation(1, 0, 1);
    const double measured_sigma = 0.3;

    Coefficients error = Coefficients::Zero(3, kRandom);
    error.leftCols<3>() = start;
    KalmanState<3> state{Eigen::Vector3d::Zero(), start * start.transpose()};
    ForwardPass<3> pass;
    std::vector<Coefficients> predicted_error, corrected_error;
    for (int k = 0; k < kSteps; ++k) {
        error = (transition * error).eval();
        error.middleCols<3>(3 + 4 * k) -= root; // estimate minus truth
        kalman_predict<3>(state, transition, root * root.transpose());
        const KalmanState<3> predicted = state;
        predicted_error.push_back(error);
        const Eigen::Vector3d with = state.covariance * observation.transpose();
        const double variance = observation * with + measured_sigma * measured_sigma;
        Eigen::Vector3d gain = with / variance;
        gain(2) = 0; // considered
        Eigen::RowVectorXd innovation = -(observation * error);
        innovation(6 + 4 * k) += measured_sigma;
        error += gain * innovation;
        state.covariance += gain * gain.transpose() * variance - gain * with.transpose() - with * gain.transpose();
        corrected_error.push_back(error);
        pass.transition() = (transition * pass.transition()).eval();
        pass.keep(k, predicted, state);
    }
    const auto back = smoothed<3>(pass.steps(), kGoOn);
    Coefficients smoothed_error = corrected_error.back();
    for (std::size_t k = kSteps - 1; k-- > 0;) {
        const auto& now = pass.steps()[k];
        const auto& next = pass.steps()[k + 1];
        const Eigen::Matrix3d gain =
            now.corrected.covariance * transition.transpose() * next.predicted.covariance.inverse();
        smoothed_error = (corrected_error[k] + gain * (smoothed_error - predicted_error[k + 1])).eval();
        INFO("step " << k);
        CHECK((back[k].covariance - smoothed_error * smoothed_error.transpose()).norm() < 1e-9);
    }
}

TEST_CASE("a pass that is asked to stop gives nothing, and one that is full says so") {
    ForwardPass<1> pass(3);
    for (int k = 0; k < 5; ++k) pass.keep(k, {}, {});
    CHECK(pass.steps().size() == 3);
    CHECK(pass.full());
    CHECK(smoothed<1>(pass.steps(), [](std::size_t) { return false; }).empty());
    CHECK(smoothed<1>({}, kGoOn).empty());
}
