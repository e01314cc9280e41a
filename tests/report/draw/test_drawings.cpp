// Drawings: what is drawn, where lines break, and that a name in them stays a name.
#include <catch2/catch.hpp>

#include <cmath>
#include <string>
#include <vector>

#include "server/report/draw/map_chart.hpp"
#include "server/report/draw/spectrum_chart.hpp"
#include "server/report/draw/strip_chart.hpp"
#include "server/report/draw/svg.hpp"

using namespace turnstone::report;
using Catch::Contains;
using turnstone::Trace;

namespace {

StripChart one_strip(Trace trace) {
    StripChart chart;
    chart.to = 10;
    chart.strips.push_back({.title = "Altitude", .lines = {{std::move(trace)}}});
    return chart;
}

std::size_t count_of(const std::string& text, const std::string& what) {
    std::size_t count = 0;
    for (std::size_t at = 0; (at = text.find(what, at)) != std::string::npos; at += what.size()) ++count;
    return count;
}

} // namespace

TEST_CASE("a line breaks where there is no value") {
    const double nan = std::nan("");
    const std::string path = svg::path("line s1", {0, 1, 2, 3}, {5, nan, 6, 7}).html();
    CHECK_THAT(path, Contains("d=\"M0.0 5.0M2.0 6.0L3.0 7.0\""));
    CHECK(svg::path("line s1", {0}, {nan}).empty());
    const std::string chart = drawn(one_strip({{0, 1, 2, 3}, {1, nan, 2, 3}, {0, nan, 1, 2}, {2, nan, 3, 4}})).html();
    CHECK(count_of(chart, "class=\"b1\"") == 1); // a band of one point is none
    CHECK_THAT(chart, !Contains("nan") && !Contains("inf"));
}

TEST_CASE("a drawing takes any numbers and any names") {
    StripChart chart = one_strip({{0, 5, 10}, {1e308, -1e308, 0}, {}, {}});
    chart.strips[0].title = "<script>\"'&" + std::string(300, 'x');
    chart.strips[0].limits = {{1e300, "<limit>"}, {std::nan(""), "none"}};
    chart.marks = {{1, "<1>"}, {std::nan(""), "2"}, {1e300, "3"}};
    chart.tints = {{-1e9, 1e9, Ground::coasting, "<phase>"}};
    chart.gaps = {{-1e300, 1e300}};
    const std::string html = drawn(chart).html();
    CHECK_THAT(html, !Contains("<script") && !Contains("<limit>") && !Contains("<1>") && !Contains("<phase>"));
    CHECK_THAT(html, Contains("class=\"hatched\"") && Contains("class=\"t-coasting\""));
    CHECK(html.size() < 20'000);
    CHECK(drawn(StripChart{}).empty());
    CHECK_THAT(drawn(one_strip({})).html(), Contains("no data"));

    MapChart map;
    map.places = {{1e12, -1e12, "<pad>"}};
    map.ellipses = {{0, 0, 100, 50, 30, "<95 %>"}};
    CHECK_THAT(drawn(map).html(), !Contains("<pad>") && !Contains("<95") && !Contains("nan"));
    CHECK(drawn_spectra({}, "m/s²").empty());
    CHECK(drawn_spectra({{"flat", {1, 2}, {0, 0}}}, "m/s²").empty());
    CHECK_THAT(drawn_spectra({{"<a>", {1, 10, 100}, {1, 0, 5}}}, "m/s²").html(),
               !Contains("<a>") && Contains("class=\"line s1\""));
}

TEST_CASE("a long title takes a second line, and what stands below it moves down") {
    StripChart chart = one_strip({{0, 10}, {0, 1}, {}, {}});
    chart.strips[0].title = "Accelerometer agrees with gravity";
    chart.strips[0].figure = "0.04";
    const std::string html = drawn(chart).html();
    CHECK_THAT(html, Contains(">Accelerometer agrees<") && Contains(">with gravity<") && !Contains("…"));
    chart.strips[0].title = "Battery";
    const auto height_of_figure = [](const std::string& svg) {
        const std::size_t at = svg.find(" y=\"", svg.find("class=\"big\"")) + 4;
        return std::stod(svg.substr(at));
    };
    CHECK(height_of_figure(html) > height_of_figure(drawn(chart).html()) + 10);
}

TEST_CASE("labels of limits that lie close to each other do not lie over each other") {
    StripChart chart = one_strip({{0, 10}, {-100, 100}, {}, {}});
    chart.strips[0].limits = {{-0.2, "least"}, {0.2, "most"}, {0.3, "third"}};
    const std::string html = drawn(chart).html();
    CHECK(count_of(html, "class=\"limit\"") == 3);
    CHECK_THAT(html, Contains(">least<") && Contains(">most<") && !Contains(">third<"));
}

TEST_CASE("edges stand above the strips with their numbers, side by side where they are close") {
    StripChart chart = one_strip({{0, 10}, {0, 1}, {}, {}});
    chart.marks = {{5, "1"}, {5.01, "2"}, {9, "3"}};
    const std::string html = drawn(chart).html();
    CHECK(count_of(html, "class=\"edge\"") == 3);
    for (const char* number : {">1<", ">2<", ">3<"}) CHECK_THAT(html, Contains(number));
}
