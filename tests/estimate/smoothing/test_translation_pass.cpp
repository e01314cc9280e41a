// The translation filter's forward pass: that it leaves each step once, in the order of the measurements' times, that
// the steps fit together, and what going back along it gains on a course that is known.
#include <catch2/catch.hpp>

#include <cmath>
#include <random>
#include <vector>

#include <Eigen/Dense>

#include "server/estimate/translation/translation_filter.hpp"
#include "shared/time.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using Eigen::Vector3d;

namespace {

constexpr std::int64_t kCourseBegan_ns = 1'700'000'000'000'000'000;

std::int64_t course_ns(double t_s) {
    return kCourseBegan_ns + seconds_to_ns(t_s);
}

/// A circle of 200 m in 60 s that climbs: accelerations of 2 m/s2.
Vector3d position_m(double t_s) {
    const double turn = 2 * M_PI * t_s / 60;
    return {200 * std::sin(turn), 200 * (1 - std::cos(turn)), 3 * t_s};
}

Vector3d velocity_mps(double t_s) {
    const double turn = 2 * M_PI * t_s / 60, rate = 2 * M_PI / 60;
    return {200 * rate * std::cos(turn), 200 * rate * std::sin(turn), 3};
}

/// Fixes twice a second, heights ten times, of the errors that the filter is told; every fourth fix comes 0.7 s late.
ForwardPass<TranslationState::kSize> flown_course(unsigned seed, double end_s) {
    ForwardPass<TranslationState::kSize> pass;
    TranslationSettings settings;
    settings.errors.fix_sigma_m.setZero();
    settings.errors.delay_sigma_s = 0;
    settings.errors.datum_sigma_m = 0.1;
    settings.fix_delay_s = 0;
    settings.white_fraction = 1;
    TranslationFilter filter(settings);
    filter.leave_steps(&pass);
    filter.expect({Vector3d::Zero(), Vector3d::Constant(2), Vector3d::Constant(4)});
    std::mt19937 random(seed);
    std::normal_distribution<double> normal;
    std::vector<TranslationFix> late;
    for (int i = 1; i < 10 * end_s; ++i) {
        const double t_s = 0.1 * i;
        filter.height(course_ns(t_s), position_m(t_s).z() + 0.5 * normal(random), 0.5, 0.01);
        if (!late.empty() && seconds_between(late.front().t_ns, course_ns(t_s)) > 0.65) {
            filter.fix(late.front());
            late.clear();
        }
        if (i % 5 != 0) continue;
        const auto noise = [&](double sigma) {
            return Vector3d(sigma * normal(random), sigma * normal(random), sigma * normal(random));
        };
        const TranslationFix fix{.t_ns = course_ns(t_s),
                                 .t_valid_ns = course_ns(t_s),
                                 .position_enu_m = position_m(t_s) + noise(2),
                                 .velocity_enu_mps = velocity_mps(t_s) + noise(0.5),
                                 .horizontal_sigma_m = 2,
                                 .vertical_sigma_m = 2,
                                 .speed_sigma_mps = 0.5};
        if (i % 20 == 0)
            late.push_back(fix);
        else
            filter.fix(fix);
    }
    filter.leave_last_steps();
    return pass;
}

} // namespace

TEST_CASE("steps are left once each, in the order of time, and fit together") {
    const auto pass = flown_course(1, 60);
    const auto& steps = pass.steps();
    // 599 heights and 119 fixes, of which a few that fall on a height's time wait for it.
    REQUIRE(steps.size() > 690);
    REQUIRE(steps.size() <= 718);
    int wrong = 0;
    using Matrix = TranslationState::Matrix;
    for (std::size_t k = 1; k < steps.size(); ++k) {
        REQUIRE(steps[k].t_ns >= steps[k - 1].t_ns);
        const Matrix& f = steps[k].transition;
        const Matrix added = steps[k].predicted.covariance - f * steps[k - 1].corrected.covariance * f.transpose();
        const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> solver(added);
        wrong += !(solver.eigenvalues()(0) > -1e-9 * (1 + steps[k - 1].corrected.covariance.norm()));
    }
    CHECK(wrong == 0);
}

TEST_CASE("from both sides a course is found better, as well as it says") {
    Eigen::Vector3d forward = Vector3d::Zero(), back_squares = Vector3d::Zero(), normalised = Vector3d::Zero();
    int compared = 0, worse = 0;
    for (unsigned seed = 1; seed <= 20; ++seed) {
        const auto pass = flown_course(seed, 60);
        const auto& steps = pass.steps();
        const auto back = smoothed<TranslationState::kSize>(steps, [](std::size_t) { return true; });
        for (std::size_t k = 0; k < steps.size(); ++k) {
            const double t_s = seconds_between(kCourseBegan_ns, steps[k].t_ns);
            if (t_s < 5 || t_s > 55) continue;
            const Vector3d before = steps[k].corrected.x.head<3>() - position_m(t_s);
            const Vector3d after = back[k].x.head<3>() - position_m(t_s);
            const Vector3d variance = back[k].covariance.diagonal().head<3>();
            forward += before.cwiseAbs2();
            back_squares += after.cwiseAbs2();
            normalised += after.cwiseAbs2().cwiseQuotient(variance);
            worse += (variance.array() > 1.000001 * steps[k].corrected.covariance.diagonal().head<3>().array()).any();
            ++compared;
        }
    }
    INFO("rms forward " << (forward / compared).cwiseSqrt().transpose() << ", both ways "
                        << (back_squares / compared).cwiseSqrt().transpose() << " m, normalised squares "
                        << (normalised / compared).transpose());
    CHECK(worse == 0);
    for (int axis = 0; axis < 3; ++axis) {
        CHECK(back_squares(axis) < forward(axis));
        CHECK(normalised(axis) / compared > 0.5);
        CHECK(normalised(axis) / compared < 1.5);
    }
}

TEST_CASE("what comes right behind the oldest that is kept goes on from what was known before it") {
    // The filter goes back over its last 160 measurements.
    TranslationSettings settings;
    settings.fix_delay_s = 0;
    TranslationFilter filter(settings);
    filter.fix({.t_ns = course_ns(0),
                .t_valid_ns = course_ns(0),
                .position_enu_m = {500, 0, 0},
                .velocity_enu_mps = Vector3d::Zero(),
                .horizontal_sigma_m = 2,
                .vertical_sigma_m = 2,
                .speed_sigma_mps = 0.2});
    for (int i = 1; i <= 159; ++i) filter.height(course_ns(0.1 * i), 0, 0.5, 0.01);
    const double known_m = filter.estimate().position_enu_m.x();
    const double sigma_m = filter.estimate().position_sigma_m().x();
    filter.height(course_ns(0.05), 0, 0.5, 0.01); // between the first two
    filter.height(course_ns(16), 0, 0.5, 0.01);
    CHECK(filter.estimate().position_enu_m.x() == Approx(known_m).margin(1));
    CHECK(filter.estimate().position_sigma_m().x() < 2 * sigma_m + 10);
}
