#pragma once
/// A table of checks: what each is fed, and the state and figures that follow, worked out by hand.
#include <functional>

#include <catch2/catch.hpp>

#include "tests/monitor/desk_bench.hpp"

namespace turnstone::test {

using nlohmann::json;

struct CheckCase {
    const char* name;
    json check; ///< without id and title
    std::function<void(DeskBench&)> feed;
    const char* state;
    double measured = kNaN; ///< NaN: none
    double margin = kNaN;
};

inline const json kBattery{{"table", "health"}, {"column", "battery"}};
inline const json kPressure{{"table", "baro"}, {"column", "pressure"}};

inline json with(json base, const json& more) {
    base.update(more);
    return base;
}

/// A value every tick up to a time.
inline std::function<void(DeskBench&)> steady(const char* table, const char* column, double until_s,
                                              std::function<double(double)> value) {
    return [=](DeskBench& bench) {
        bench.run(
            until_s,
            [&] {
                bench.row(table, {{column, value(bench.t_s())}});
            });
    };
}

inline void run_cases(const std::vector<CheckCase>& cases) {
    for (const CheckCase& each : cases) {
        INFO(each.name);
        json check = each.check;
        check["id"] = "it";
        check["title"] = "It";
        DeskBench bench({readiness_file(json::array({check}))});
        each.feed(bench);
        bench.run(std::ceil(bench.t_s() + 0.01)); // rows come at whole seconds
        CHECK(bench.state("alpha/readiness", "it") == each.state);
        const double measured = bench.newest("alpha/readiness", "it");
        const double margin = bench.newest("alpha/readiness", "it_margin");
        CHECK(std::isnan(measured) == std::isnan(each.measured));
        CHECK(std::isnan(margin) == std::isnan(each.margin));
        if (!std::isnan(each.measured)) CHECK(measured == Approx(each.measured).margin(2e-4));
        if (!std::isnan(each.margin)) CHECK(margin == Approx(each.margin).margin(2e-4));
    }
}

} // namespace turnstone::test
