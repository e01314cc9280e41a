// Figures as people read them.
#include <catch2/catch.hpp>

#include <cmath>
#include <string>

#include "server/report/text/figure.hpp"

using namespace turnstone;

namespace {

/// Fixed and narrow spaces as plain ones.
std::string plain(std::string text) {
    for (const std::string space : {"\u00a0", "\u202f"})
        for (std::size_t at = 0; (at = text.find(space, at)) != std::string::npos;) text.replace(at, space.size(), " ");
    return text;
}

const double kNan = std::nan("");

} // namespace

TEST_CASE("a value has no digit that its sigma denies") {
    struct Case {
        double value, sigma;
        int most;
        const char* text;
    };
    const Case cases[] = {
        {1107.34, 2.1, 1, "1107 ± 2"},
        {1107.34, 21, 1, "1110 ± 20"},
        {1.8534, 0.021, 3, "1.85 ± 0.02"},
        {-3.96, 0.4, 2, "−4.0 ± 0.4"},
        {18.63, 0.97, 3, "19 ± 1"},
        {18.63, 0.94, 3, "18.6 ± 0.9"},
        {262, 0.004, 1, "262.0 ± 0.1"},
        {5.26, kNan, 1, "5.3"},
        {5.26, 0, 2, "5.26"},
        {kNan, 1, 2, "–"},
        {1e6, 3e4, 0, "1000000 ± 30000"},
    };
    for (const Case& one : cases) {
        INFO(one.value << " " << one.sigma);
        CHECK(plain(rounded(one.value, one.sigma, one.most)) == one.text);
    }
    CHECK(plain(rounded_with_sign(0.38, 0.54, 2)) == "+0.4 ± 0.5");
    CHECK(plain(rounded_with_sign(-0.38, kNan, 1)) == "−0.4");
    CHECK(plain(rounded_with_sign(-2, 60, 0)) == "0 ± 60");
}

TEST_CASE("numbers have a minus sign that is one, and no minus zero") {
    CHECK(fixed(-2.5, 1) == "−2.5");
    CHECK(fixed(-0.04, 1) == "0.0");
    CHECK(fixed(kNan, 1) == "–");
    CHECK(fixed(HUGE_VAL, 1) == "–");
    CHECK(with_sign(2.5, 1) == "+2.5");
    CHECK(significant(0.012345, 2) == "0.012");
    CHECK(significant(98765, 2) == "99000");
    CHECK(significant(0, 2) == "0");
    CHECK(significant(0.0999, 1) == "0.1");
}

TEST_CASE("quantities come in the unit that people use for them") {
    struct Case {
        double value, sigma;
        int most;
        const char* ucum;
        const char* text;
        const char* near;
    };
    const Case cases[] = {
        {1107.3, 2, 1, "m", "1107 ± 2 m", "1107 ± 2 m"},
        {90420, 6, 0, "Pa", "904.20 ± 0.06 hPa", "904.20 ± 0.06 hPa"},
        {3012, 40, 0, "Pa", "30.1 ± 0.4 hPa", "3.01 ± 0.04 kPa"},
        {0.01863, 0.0005, 4, "s", "0.0186 ± 0.0005 s", "18.6 ± 0.5 ms"},
        {296.85, 0.5, 1, "K", "23.7 ± 0.5 °C", "23.7 ± 0.5 °C"},
        {41.2, 0.6, 1, "deg", "41.2 ± 0.6°", "41.2 ± 0.6°"},
        {9.81, kNan, 2, "m/s2", "9.81 m/s²", "9.81 m/s²"},
        {3, kNan, 0, "1", "3", "3"},
        {2400, kNan, 0, "{rev}/min", "2400 rev/min", "2400 rev/min"},
        {0.4, kNan, 3, "kg.m2", "0.400 kg·m²", "0.400 kg·m²"},
        {5, kNan, 0, "deg/s", "5 °/s", "5 °/s"},
    };
    for (const Case& one : cases) {
        INFO(one.value << " " << one.ucum);
        CHECK(plain(quantity(one.value, one.sigma, one.most, one.ucum)) == one.text);
        CHECK(plain(quantity_near(one.value, one.sigma, one.most, one.ucum)) == one.near);
    }
    CHECK(quantity(1, 0.1, 1, "m").find(' ') == std::string::npos); // one piece, which no line end divides
}

TEST_CASE("times and sizes read as on the dashboard") {
    CHECK(flight_clock(14.94) == "T+0:14.9");
    CHECK(flight_clock(-5) == "T−0:05.0");
    CHECK(flight_clock(3723, 0) == "T+1:02:03");
    CHECK(flight_clock(-0.01) == "T+0:00.0");
    CHECK(flight_clock(kNan) == "–");
    CHECK(plain(duration_text(42)) == "42 s");
    CHECK(plain(duration_text(125)) == "2 min 05 s");
    CHECK(plain(duration_text(3725)) == "1 h 02 min");
    CHECK(utc_time(1'779'028'325'999'000'000) == "14:32:05");
    CHECK(utc_date(1'779'028'325'000'000'000) == "2026-05-17");
    CHECK(plain(size_text(999)) == "999 B");
    CHECK(plain(size_text(5'240'000)) == "5.2 MB");
    CHECK(bearing_text(6.6) == "007°");
    CHECK(bearing_text(359.7) == "000°");
    CHECK(bearing_text(-90) == "270°");
    CHECK(plain(fraction_text(0.0004)) == "less than 0.1 %");
    CHECK(plain(fraction_text(0.023)) == "2.3 %");
    CHECK(plain(fraction_text(0)) == "0 %");
    CHECK(capital("under drogue") == "Under drogue");
}

TEST_CASE("an interval whose ends round alike is one figure") {
    CHECK(from_to(393.4, 431.2, 0) == "393 to 431");
    CHECK(from_to(5.6, 6.4, 0) == "6");
    CHECK(from_to(5.6, 6.4, 1) == "5.6 to 6.4");
}
