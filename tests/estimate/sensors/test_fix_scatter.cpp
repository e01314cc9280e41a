// How much fixes scatter, from fixes at rest: drawn from known distributions, so that the answer is known.
#include <cmath>
#include <random>

#include <catch2/catch.hpp>

#include "server/estimate/sensors/fix_scatter.hpp"
#include "shared/time.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using Eigen::Vector3d;

namespace {

struct StandingReceiver {
    double new_m, speed_mps, wanders_m; ///< 1-sigma of what it sends
};

FixScatterFactors after_a_minute(const StandingReceiver& receiver, unsigned seed) {
    constexpr double kPeriod_s = 0.2, kTold_m = 1.0, kTold_mps = 0.2, kWandersOver_s = 80;
    std::mt19937_64 random(seed);
    std::normal_distribution<double> normal;
    const auto draw = [&] {
        const double x = normal(random), y = normal(random);
        return Vector3d(x, y, normal(random));
    };
    FixScatter scatter;
    const double kept = std::exp(-kPeriod_s / kWandersOver_s);
    Vector3d wandering = receiver.wanders_m * draw();
    for (int k = 1; k <= 300; ++k) {
        wandering = kept * wandering + receiver.wanders_m * std::sqrt(1 - kept * kept) * draw();
        scatter.at_rest(seconds_to_ns(kPeriod_s * k), wandering + receiver.new_m * draw(), Vector3d::Constant(kTold_m),
                        receiver.speed_mps * draw(), kTold_mps);
    }
    return scatter.factors();
}

} // namespace

TEST_CASE("fixes on the rail tell how much more they scatter than is told of them") {
    double position = 0, speed = 0, as_told = 0, wandering = 0, held = 0;
    constexpr int kMinutes = 40;
    for (unsigned seed = 1; seed <= kMinutes; ++seed) {
        const FixScatterFactors wider = after_a_minute({1.5, 0.4, 3.0}, seed);
        position += wider.position / kMinutes;
        speed += wider.speed / kMinutes;
        as_told += after_a_minute({1.0, 0.2, 0.0}, seed).position / kMinutes;
        wandering += after_a_minute({1.0, 0.2, 3.0}, seed).position / kMinutes;
        held = std::max(held, after_a_minute({0.0, 0.0, 0.0}, seed).position);
    }
    CHECK(position == Approx(2.25).epsilon(0.08));
    CHECK(speed == Approx(4.0).epsilon(0.08));
    CHECK(as_told == Approx(1.0).epsilon(0.08));
    CHECK(wandering == Approx(1.0).epsilon(0.1)); // what wanders is not scatter
    CHECK(held == 1.0);                           // a receiver that holds its place at rest says nothing of a flight
}

TEST_CASE("a jump, a loss and no number are not scatter") {
    const double nan = std::nan("");
    FixScatter scatter;
    for (int k = 1; k <= 50; ++k)
        scatter.at_rest(seconds_to_ns(k), {0, 0, 0}, Vector3d::Ones(), Vector3d::Constant(nan), 0.2);
    scatter.interrupt();
    scatter.at_rest(seconds_to_ns(51), {1000, 0, 0}, Vector3d::Ones(), Vector3d::Constant(nan), 0.2);
    CHECK(scatter.factors().position == 1.0);
    scatter.at_rest(seconds_to_ns(52), {0, 0, nan}, Vector3d::Ones(), Vector3d::Constant(nan), 0.2);
    CHECK(scatter.factors().position < 1.2);
    CHECK(scatter.factors().speed == 1.0);
}
