// Mean and gust against their definitions, on series whose figures are known.
#include <catch2/catch.hpp>

#include <cmath>

#include "server/estimate/air/surface_wind.hpp"
#include "shared/time.hpp"

using namespace turnstone;
using namespace turnstone::estimate;

namespace {

constexpr std::int64_t kStart_ns = 1'780'000'000 * kNsPerS;

std::int64_t at(double t_s) {
    return kStart_ns + seconds_to_ns(t_s);
}

} // namespace

TEST_CASE("the mean is over ten minutes and the gust the greatest mean over three seconds") {
    SurfaceWind wind;
    CHECK(std::isnan(wind.figures().mean_mps));
    for (int k = 0; k < 1000; ++k) wind.sample(at(k), k < 500 ? 4.0 : 6.0, 90);
    // Of the last 600 s, 100 s at 4 and 500 s at 6.
    CHECK(wind.figures().mean_mps == Approx((100 * 4.0 + 500 * 6.0) / 600));
    CHECK(wind.figures().over_s == 600);
    CHECK(wind.figures().gust_mps == Approx(6));
    CHECK(wind.figures().from_deg == Approx(90));
    wind.sample(at(1000), 12, 90); // one second of 12 between sixes
    CHECK(wind.figures().gust_mps == Approx((6 + 6 + 12) / 3.0));
    for (int k = 1001; k < 1700; ++k) wind.sample(at(k), 6.0, 90);
    CHECK(wind.figures().gust_mps == Approx(6)); // ten minutes have passed
}

TEST_CASE("several samples a second are one second, and seconds without any count for nothing") {
    SurfaceWind wind;
    for (int k = 0; k < 40; ++k) wind.sample(at(0.25 * k), k % 4 == 0 ? 8.0 : 4.0, 10);
    CHECK(wind.figures().mean_mps == Approx(5));
    CHECK(wind.figures().gust_mps == Approx(5));
    CHECK(wind.figures().over_s == 10);
    wind.sample(at(100), 9, 10);
    CHECK(wind.figures().over_s == 11);
    CHECK(wind.figures().mean_mps == Approx((50 + 9) / 11.0));
}

TEST_CASE("the direction is the vector mean's, over north as well") {
    SurfaceWind wind;
    for (int k = 0; k < 60; ++k) wind.sample(at(k), 5, k % 2 == 0 ? 350 : 20);
    CHECK(wind.figures().from_deg == Approx(5));
    SurfaceWind calm;
    for (int k = 0; k < 60; ++k) calm.sample(at(k), 0, 120);
    CHECK(calm.figures().mean_mps == 0);
    CHECK(std::isnan(calm.figures().from_deg));
}

TEST_CASE("what has no value or comes late changes nothing") {
    SurfaceWind wind;
    wind.sample(at(10), 5, 100);
    wind.sample(at(11), std::nan(""), 100);
    wind.sample(at(3), 50, 100);
    CHECK(wind.figures().mean_mps == Approx(5));
    wind.sample(at(11), 7, std::nan(""));
    CHECK(wind.figures().mean_mps == Approx(6));
    CHECK(wind.figures().from_deg == Approx(100));
}
