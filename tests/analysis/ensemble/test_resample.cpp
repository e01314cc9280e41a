// Series on a common time base: values between samples, and nothing across a gap.
#include <catch2/catch.hpp>

#include <cmath>
#include <vector>

#include "server/analysis/ensemble/resample.hpp"

using namespace turnstone::analysis;

namespace {

constexpr double kMissing = std::numeric_limits<double>::quiet_NaN();

bool same(const std::vector<double>& a, const std::vector<double>& b) {
    if (a.size() != b.size()) return false;
    for (std::size_t i = 0; i < a.size(); ++i)
        if (!(a[i] == b[i] || (std::isnan(a[i]) && std::isnan(b[i])))) return false;
    return true;
}

} // namespace

TEST_CASE("a time base has round steps, and times that read as decimals") {
    CHECK(same(time_base(0, 1, 0.2, 100), {0, 0.2, 0.4, 0.6, 0.8, 1}));
    CHECK(same(time_base(-0.25, 0.25, 0.1, 100), {-0.2, -0.1, 0, 0.1, 0.2}));
    // 0.1 would be 1001 times, 0.2 is 501.
    const auto base = time_base(0, 100, 0.02, 600);
    REQUIRE(base.size() == 501);
    CHECK(base[3] == 0.6);
    CHECK(base.back() == 100);
    CHECK(same(time_base(-30, 10, 20, 100), {-20, 0}));
    for (const auto& [from, to] :
         {std::pair(1.0, 1.0), std::pair(2.0, 1.0), std::pair(kMissing, 1.0), std::pair(0.0, kMissing)})
        CHECK(time_base(from, to, 0.1, 100).empty());
}

TEST_CASE("values between samples are linear, and a gap stays one") {
    const std::vector<double> t{0, 1, 2, 5, 6, 7}, y{0, 10, 20, 50, 60, kMissing};
    const std::vector<double> base{-1, 0, 0.5, 2, 2.5, 4.9, 5, 5.5, 6.5, 7, 8};
    CHECK(same(resampled(t, y, base, 1.5),
               {kMissing, 0, 5, 20, kMissing, kMissing, 50, 55, kMissing, kMissing, kMissing}));
    CHECK(same(resampled(t, y, base, 3.0), {kMissing, 0, 5, 20, 25, 49, 50, 55, kMissing, kMissing, kMissing}));
    CHECK(same(resampled({}, {}, base, 1.5), std::vector<double>(base.size(), kMissing)));
}

TEST_CASE("of samples at the same time the last counts") {
    const std::vector<double> t{0, 1, 1, 2}, y{0, 1, 5, 6};
    CHECK(same(resampled(t, y, std::vector<double>{0.5, 1, 1.5}, 1.5), {0.5, 5, 5.5}));
}
