// Places on paper and round values.
#include <catch2/catch.hpp>

#include <cmath>
#include <vector>

#include "server/report/draw/scale.hpp"

using namespace turnstone::report;

TEST_CASE("an axis has round values, as many as there is room for") {
    CHECK(round_values({0, 1107}, 3) == std::vector<double>{0, 500, 1000});
    CHECK(round_values({-20, 160}, 6) == std::vector<double>{0, 50, 100, 150});
    CHECK(round_values({7.35, 8.25}, 3).size() >= 2);
    CHECK(round_values({5, 5}, 3).empty());
    CHECK(round_values({0, HUGE_VAL}, 3).empty());
    CHECK(decimals_of({7.4, 7.6}) == 1);
    CHECK(decimals_of({0, 500}) == 0);
    CHECK(round_powers({3.3, 110}) == std::vector<double>{5, 10, 20, 50, 100});
    CHECK(round_powers({0.5, 20000}) == std::vector<double>{1, 10, 100, 1000, 10000});
    CHECK(round_powers({0, 1}).empty());
    for (double low = -1e6; low < 1e6; low += 77777.7)
        for (double width = 1e-6; width < 1e9; width *= 13.7) {
            const auto values = round_values({low, low + width}, 4);
            CHECK(values.size() <= 6);
            for (const double value : values) {
                CHECK(value >= low - 1e-6 * width);
                CHECK(value <= low + 1.000001 * width);
            }
        }
}

TEST_CASE("a range holds every value, whatever they are") {
    RangeOf empty;
    empty.add(std::nan(""));
    empty.add(HUGE_VAL);
    CHECK(empty.range().high > empty.range().low);
    RangeOf one;
    one.add(0);
    CHECK(one.range().low < 0);
    CHECK(one.range().high > 0);
    RangeOf two;
    two.add(-3);
    two.add(7);
    CHECK(two.range().low < -3);
    CHECK(two.range().high > 7);
}

TEST_CASE("a scale puts its range's ends at its paper's ends") {
    const Scale plain{{10, 20}, 100, 0};
    CHECK(plain.at(10) == 100);
    CHECK(plain.at(15) == 50);
    const Scale powers{{1, 100}, 0, 200, true};
    CHECK(powers.at(10) == Approx(100));
}
