#include <catch2/catch.hpp>

#include <cmath>

#include "server/analysis/charge/side_by_side.hpp"

using namespace turnstone::analysis;

TEST_CASE("two like parts differ by a fraction of a per cent, with the sigma of their measurements") {
    // By hand: 0.004 / 1.000 = 0.4 %; hypot(0.001, 0.001) / 1.000 to first order.
    const Measured tests[] = {{0.998, 0.001}, {1.002, 0.001}};
    const SideBySide found = side_by_side(tests);
    CHECK(found.newest.fraction == Approx(0.004).epsilon(1e-6));
    CHECK(found.newest.sigma == Approx(0.001414).epsilon(2e-3));
    CHECK(found.widest == Approx(0.004));
}

TEST_CASE(
    "several tests give mean, spread and the 95 % interval of the mean, and the newest stands against the earlier") {
    // NIST/SEMATECH e-Handbook, 1.3.5.2: mean +- t(0.975, n - 1) s / sqrt(n); t(0.975, 3) = 3.182 (its table).
    const Measured tests[] = {{19.2e-3, 5e-4}, {kNone, kNone}, {27.5e-3, 5e-4}, {18.6e-3, 5e-4}, {20.3e-3, 5e-4}};
    const SideBySide found = side_by_side(tests);
    CHECK(found.all.count == 4);
    CHECK(found.all.mean == Approx(21.4e-3));
    CHECK(found.all.sd == Approx(4.1271e-3).epsilon(1e-3));
    CHECK(found.mean.high - found.mean.low == Approx(2 * 3.182 * 4.1271e-3 / 2).epsilon(1e-3));
    const double earlier = (19.2e-3 + 27.5e-3 + 18.6e-3) / 3;
    CHECK(found.newest.fraction == Approx((20.3e-3 - earlier) / (0.5 * (20.3e-3 + earlier))));
}

TEST_CASE("a single test has a mean and nothing to differ from") {
    const Measured tests[] = {{3000, 20}};
    const SideBySide found = side_by_side(tests);
    CHECK(found.all.mean == 3000);
    CHECK(std::isnan(found.all.sd));
    CHECK(std::isnan(found.newest.fraction));
    CHECK(std::isnan(side_by_side({}).all.mean));
}
