// Drag, thrust and drag area of courses that are written down in closed form, so that what is found can be known.
#include <catch2/catch.hpp>

#include <cmath>
#include <random>

#include "server/analysis/performance/descent.hpp"
#include "server/analysis/performance/drag.hpp"
#include "server/analysis/performance/thrust.hpp"

using namespace turnstone::analysis;

namespace {

constexpr double kG_mps2 = 9.80665, kDensity_kg_m3 = 1.1, kArea_m2 = 0.005, kSound_mps = 340;
constexpr double kDensitySigma = 0.004;

/// A coast straight up from 170 m/s with Cd = 0.5 - 0.2 Mach, by small steps, with an accelerometer that is off by
/// `bias` and noisy.
struct Coast {
    Course course;
    AxialForce axial;
    double end_s;
};

Coast coast(double bias_mps2, double noise_mps2, unsigned seed) {
    constexpr double kMass_kg = 3, kStep_s = 0.001;
    std::mt19937 random(seed);
    std::normal_distribution<double> normal(0, noise_mps2);
    Coast out;
    double v = 170, z = 150, t_s = 2, force_sum = 0;
    int steps = 0;
    for (; v > 0; t_s += kStep_s) {
        const double cd = 0.5 - 0.2 * v / kSound_mps;
        const double force = -0.5 * kDensity_kg_m3 * v * v * kArea_m2 * cd / kMass_kg;
        force_sum += force;
        if (++steps % 10 == 0) {
            out.axial.t_s.push_back(t_s);
            out.axial.force_mps2.push_back(force_sum / 10 + bias_mps2 + normal(random));
            force_sum = 0;
            Course& c = out.course;
            c.t_s.push_back(t_s);
            c.altitude_m.push_back(z);
            c.altitude_sigma_m.push_back(1);
            c.up_mps.push_back(v);
            c.up_sigma_mps.push_back(0.3);
            c.speed_mps.push_back(v);
            c.speed_sigma_mps.push_back(0.3);
            c.density_kg_m3.push_back(kDensity_kg_m3);
            c.density_sigma.push_back(kDensitySigma);
            c.mach.push_back(v / kSound_mps);
        }
        v += (force - kG_mps2) * kStep_s;
        z += v * kStep_s;
    }
    out.end_s = t_s;
    return out;
}

const Masses kMasses{3, 0.02, 0.3, 0};
const Doubts kDoubts{.bias_mps2 = 0.3, .scale = 0.005, .range_mps2 = 157};

} // namespace

TEST_CASE("the drag coefficient of a coast is found, with the accelerometer's bias") {
    const Coast flown = coast(0.4, 0.2, 1);
    const DragCurve drag = drag_curve(flown.course, flown.axial, 2.0, flown.end_s, kArea_m2, kMasses, kDoubts);
    INFO(drag.why);
    REQUIRE(drag.mach.size() >= 4);
    CHECK(drag.mach.back() == Approx(0.5).margin(0.02));
    for (std::size_t i = 0; i < drag.mach.size(); ++i) {
        INFO("Mach " << drag.mach[i] << ": " << drag.cd[i] << " +- " << drag.sigma[i]);
        CHECK(std::abs(drag.cd[i] - (0.5 - 0.2 * drag.mach[i])) < 3 * drag.sigma[i]);
        CHECK(drag.low[i] == Approx(drag.cd[i] - 1.959964 * drag.sigma[i]));
        // Never better than mass, scale and density allow.
        CHECK(drag.sigma[i] > drag.cd[i] * std::hypot(0.02 / 3, std::hypot(0.005, kDensitySigma)));
    }
    CHECK(drag.bias_mps2 == Approx(0.4).margin(0.1));
    // Where it is well seen, to 1.5 %.
    CHECK(drag.cd.back() == Approx(0.4).epsilon(0.015));
}

TEST_CASE("what a day's air may be off by widens the interval of drag by as much, and that of speed by twice") {
    Coast flown = coast(0.4, 0.01, 1);
    const auto last_sigma = [&] {
        const DragCurve drag = drag_curve(flown.course, flown.axial, 2.0, flown.end_s, kArea_m2, kMasses, kDoubts);
        REQUIRE(!drag.cd.empty());
        return drag.sigma.back() / drag.cd.back();
    };
    const double before = last_sigma();
    for (double& sigma : flown.course.density_sigma) sigma = 0.03;
    const double by_density = std::sqrt(std::pow(last_sigma(), 2) - std::pow(before, 2));
    CHECK(by_density == Approx(std::sqrt(0.03 * 0.03 - kDensitySigma * kDensitySigma)).epsilon(1e-6));
    for (double& sigma : flown.course.density_sigma) sigma = kDensitySigma;
    for (std::size_t i = 0; i < flown.course.t_s.size(); ++i)
        flown.course.speed_sigma_mps[i] = 0.02 * flown.course.speed_mps[i];
    CHECK(last_sigma() == Approx(0.04).epsilon(0.05));
}

TEST_CASE("a coast that shows no drag says why") {
    const Coast flown = coast(0, 0.2, 2);
    CHECK(!drag_curve(flown.course, {}, 2, flown.end_s, kArea_m2, kMasses, kDoubts).why.empty());
    CHECK(!drag_curve({}, flown.axial, 2, flown.end_s, kArea_m2, kMasses, kDoubts).why.empty());
    CHECK(!drag_curve(flown.course, flown.axial, 2, 2.4, kArea_m2, kMasses, kDoubts).why.empty());
    const DragCurve slow =
        drag_curve(flown.course, flown.axial, flown.end_s - 2, flown.end_s, kArea_m2, kMasses, kDoubts);
    CHECK(slow.mach.empty());
    CHECK(!slow.why.empty());
}

TEST_CASE("thrust and total impulse of a boost are found through a sensor that reads too much") {
    // 300 N for 2 s out of 0.3 kg of propellant, straight up, without drag: integrated here by its own steps.
    Course course;
    AxialForce axial;
    double v = 0, z = 0;
    for (int i = -20; i <= 260; ++i) {
        const double t_s = 0.01 * i;
        const bool burns = t_s > 0 && t_s <= 2 + 1e-9;
        const double mass_kg = 3 + 0.3 * (1 - std::clamp((t_s - 0.005) / 2, 0.0, 1.0));
        const double force = t_s <= 0 ? kG_mps2 : burns ? 300 / mass_kg : 0.0;
        if (t_s > 0) v += 0.01 * (force - kG_mps2);
        z += 0.01 * v;
        axial.t_s.push_back(t_s);
        axial.force_mps2.push_back(force * (burns ? 1.03 : 1.0)); // rectified vibration
        course.t_s.push_back(t_s);
        course.altitude_m.push_back(z);
        course.altitude_sigma_m.push_back(0.5);
        course.up_mps.push_back(v);
        course.up_sigma_mps.push_back(0.4);
        course.speed_mps.push_back(v);
        course.speed_sigma_mps.push_back(0.4);
        course.density_kg_m3.push_back(1e-9);
        course.density_sigma.push_back(kDensitySigma);
        course.mach.push_back(v / kSound_mps);
    }
    const DragTable drag{{0, 1}, {0.5, 0.5}, 0.1};
    const ThrustCurve thrust = thrust_curve(course, axial, 2.0, kG_mps2, kArea_m2, drag, kMasses, kDoubts);
    INFO(thrust.why);
    CHECK(thrust.impulse_n_s.value == Approx(600).epsilon(0.002));
    CHECK(thrust.axial_factor == Approx(1 / 1.03).epsilon(0.003));
    CHECK(thrust.burn_s == Approx(2).margin(0.02));
    REQUIRE(thrust.t_s.size() == thrust.thrust_n.size());
    for (std::size_t i = 0; i < thrust.t_s.size(); ++i)
        if (thrust.t_s[i] > 0.01 && thrust.t_s[i] < 1.99) CHECK(thrust.thrust_n[i] == Approx(300).epsilon(0.005));
    // Of mass 0.02 / 3.15, speed 0.4 / 170, shape 0.003, no drag.
    CHECK(thrust.impulse_n_s.sigma / 600 == Approx(std::hypot(0.02 / 3.15, std::hypot(0.4 / v, 0.003))).epsilon(0.05));

    AxialForce clipped = axial;
    for (double& force : clipped.force_mps2) force *= 1.6;
    CHECK_THAT(thrust_curve(course, clipped, 2.0, kG_mps2, kArea_m2, drag, kMasses, kDoubts).why,
               Catch::Contains("range"));
    AxialForce thin;
    for (std::size_t i = 0; i < axial.t_s.size(); ++i)
        if (axial.t_s[i] < 0.5 || axial.t_s[i] > 1.2) {
            thin.t_s.push_back(axial.t_s[i]);
            thin.force_mps2.push_back(axial.force_mps2[i]);
        }
    CHECK_THAT(thrust_curve(course, thin, 2.0, kG_mps2, kArea_m2, drag, kMasses, kDoubts).why, Catch::Contains("lost"));
}

TEST_CASE("what opened is the difference of two descents, and what both are off by leaves its interval as it is") {
    const DragArea before{.area_m2 = 0.11, .common = 0.01, .own = 0.02},
        after{.area_m2 = 1.66, .common = 0.01, .own = 0.01};
    const Found opened = opened_between(before, after);
    CHECK(opened.value == Approx(1.55));
    CHECK(opened.sigma == Approx(std::hypot(0.0155, std::hypot(0.0022, 0.0166))));
    CHECK(opened.interval.high - opened.value == Approx(1.959964 * opened.sigma));
}

TEST_CASE("the drag area of a steady descent is found whatever the density does") {
    // v = sqrt(2 m g / (rho CdA)) with CdA = 0.11 m2 from 1000 m, rho = 1.2 exp(-z / 8000).
    Course course;
    double z = 1000;
    const auto density = [](double height_m) { return 1.2 * std::exp(-height_m / 8000); };
    double t_s = 20;
    for (; z > 200; t_s += 0.05) {
        course.t_s.push_back(t_s);
        course.altitude_m.push_back(z);
        course.altitude_sigma_m.push_back(1);
        course.density_kg_m3.push_back(density(z));
        course.density_sigma.push_back(kDensitySigma);
        for (int part = 0; part < 50; ++part) z -= 0.001 * std::sqrt(2 * 3 * kG_mps2 / (density(z) * 0.11));
    }
    const DragArea found = drag_area(course, 20, t_s, kG_mps2, kMasses);
    INFO(found.why);
    CHECK(found.area_m2 == Approx(0.11).epsilon(2e-3));
    CHECK(found.rate_mps == Approx(800 / (t_s - 20)).epsilon(0.01));
    CHECK(found.common == Approx(std::hypot(0.02 / 3, kDensitySigma)));
    CHECK(found.found_m2().sigma > 0.11 * 0.02 / 3);
    // 20 m/s against an air that may rise with 0.4 m/s over 100 m, and over 800 m with less.
    CHECK(found.own > 2 * 0.4 * std::sqrt(100.0 / 800) / found.rate_mps);
    CHECK(found.found_m2().sigma < 0.11 * 0.05);
    CHECK(!drag_area(course, 20, 25, kG_mps2, kMasses).why.empty());
}
