/// Gusts against the Dryden form of MIL-F-8785C as computed outside this project (tests/reference/numerics2/dryden.json
/// says how), and against its spectrum.
#include <cmath>

#include "tests/sim/support.hpp"
#include "tools/sim/truth/gusts.hpp"

using namespace turnstone;
using namespace turnstone::sim;

TEST_CASE("Scale lengths and intensities of gusts are those of the specification") {
    const nlohmann::json& reference = reference_case("numerics2/dryden.json", "scale_lengths_and_intensities");
    const auto& inputs = reference["inputs"]["rows"];
    const auto& expected = reference["expected"]["rows"];
    REQUIRE(inputs.size() == 40);
    for (std::size_t i = 0; i < inputs.size(); ++i) {
        INFO(inputs[i].dump());
        const DrydenScale scale = dryden_scale(inputs[i][0], inputs[i][1]);
        CHECK(scale.length_horizontal_m == Approx(expected[i][0].get<double>()).epsilon(1e-10));
        CHECK(scale.length_vertical_m == Approx(expected[i][2].get<double>()).epsilon(1e-10));
        CHECK(scale.sigma_horizontal_mps == Approx(expected[i][3].get<double>()).epsilon(1e-10));
        CHECK(scale.sigma_vertical_mps == Approx(expected[i][5].get<double>()).epsilon(1e-10));
    }
}

TEST_CASE("The transverse gust moves from sample to sample as the exact discretisation says") {
    const auto cases = reference_cases("numerics2/dryden.json", "discrete_filter");
    REQUIRE(cases.size() == 4);
    for (const nlohmann::json& reference : cases) {
        INFO(reference["id"]);
        const auto& in = reference["inputs"];
        const auto& expected = reference["expected"];
        const double t_s = expected["Lw_m"].get<double>() / in["V_m_s"].get<double>();
        const TransverseStep step = transverse_step(in["dt_s"].get<double>() / t_s);
        // The reference's states are of time, these of scale lengths: s1 = x1 T^-1.5, s2 = x2 T^-0.5.
        const Eigen::Vector2d unit(std::pow(t_s, -1.5), std::pow(t_s, -0.5));
        const auto& state = expected["state_space_w"];
        for (Eigen::Index i = 0; i < 2; ++i)
            for (Eigen::Index j = 0; j < 2; ++j) {
                const auto row = static_cast<std::size_t>(i), column = static_cast<std::size_t>(j);
                const double keep = state["Ad"][row][column].get<double>();
                const double added = state["Qd"][row][column].get<double>();
                CHECK(step.transition(i, j) == Approx(keep * unit[i] / unit[j]).epsilon(1e-9).margin(1e-12));
                // Small differences of integrals near 1: the last digits are lost on both sides.
                CHECK(step.added(i, j) == Approx(added * unit[i] * unit[j]).epsilon(1e-8).margin(1e-13));
            }
        // The poles of the sampled filter, and its memory from one sample to the next.
        CHECK(step.transition.trace() == Approx(expected["w"]["a1"].get<double>()).epsilon(1e-10));
        CHECK(-step.transition.determinant() == Approx(expected["w"]["a2"].get<double>()).epsilon(1e-10));
        const Eigen::RowVector2d out(1.0, std::sqrt(3.0));
        const Eigen::Matrix2d steady = 0.25 * Eigen::Matrix2d::Identity();
        CHECK((out * steady * out.transpose()).value() == Approx(1.0));
        CHECK((out * step.transition * steady * out.transpose()).value() ==
              Approx(expected["w"]["lag1_correlation"].get<double>()).epsilon(1e-10));
    }
}

TEST_CASE("Gusts have the stated sizes and memory along the path") {
    const DrydenScale scale = dryden_scale(150.0, 8.0);
    Gusts gusts(Random(7, "gusts"));
    const double dt_s = 0.5, airspeed_mps = 60.0;
    Eigen::Vector3d square = Eigen::Vector3d::Zero(), lagged = Eigen::Vector3d::Zero(),
                    before = Eigen::Vector3d::Zero();
    const int steps = 200000;
    for (int i = 0; i < steps; ++i) {
        gusts.advance(dt_s, airspeed_mps, scale);
        const Eigen::Vector3d gust = gusts.along_across_up_mps();
        square += gust.cwiseAbs2() / steps;
        if (i > 0) lagged += gust.cwiseProduct(before) / steps;
        before = gust;
    }
    const double x = airspeed_mps * dt_s / scale.length_horizontal_m;
    const double x_up = airspeed_mps * dt_s / scale.length_vertical_m;
    // Thousands of scale lengths: the standard error of a variance is about 1 %.
    CHECK(std::sqrt(square.x()) == Approx(scale.sigma_horizontal_mps).epsilon(0.03));
    CHECK(std::sqrt(square.y()) == Approx(scale.sigma_horizontal_mps).epsilon(0.03));
    CHECK(std::sqrt(square.z()) == Approx(scale.sigma_vertical_mps).epsilon(0.03));
    CHECK(lagged.x() / square.x() == Approx(std::exp(-x)).margin(0.02));
    CHECK(lagged.y() / square.y() == Approx(std::exp(-x) * (1.0 - x / 2.0)).margin(0.02));
    CHECK(lagged.z() / square.z() == Approx(std::exp(-x_up) * (1.0 - x_up / 2.0)).margin(0.02));
}

TEST_CASE("No wind, no gusts") {
    Wind calm({}, {}, 1.0, Random(7, "gusts"));
    calm.advance(0.01, 100.0, 50.0);
    CHECK(calm.at(100.0) == Eigen::Vector3d::Zero());
}
