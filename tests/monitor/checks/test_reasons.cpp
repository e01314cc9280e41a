// Why a check stands as it does: what its newest event says has to be so when another reason takes the place of the
// first and the state stays the same.
#include <algorithm>

#include "tests/monitor/checks/check_cases.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

class Reasons : public DeskBench {
  public:
    explicit Reasons(json check) : DeskBench({readiness_file(json::array({named(std::move(check))}))}) {}
    Reasons(json check, const char* kind)
        : DeskBench({{"procedures/bench.json",
                      json{{"title", "Bench"},
                           {"checks", json::array({named(std::move(check))})},
                           {"steps", {{{"id", "look"}, {"kind", kind}, {"title", "Look"}, {"checks", {"it"}}}}}}
                          .dump()}}) {}
    void battery(double until_s, const std::function<double(double)>& volts) {
        run(
            until_s,
            [&] {
                row("alpha/health", {{"battery", volts(t_s())}});
            });
    }
    void alert(EventId id, bool cleared = false) {
        event({.id = id, .t_ns = now_ns(), .about = id == EventId::link_down ? "spare" : "", .cleared = cleared});
    }
    [[nodiscard]] std::string why() const {
        const Event* event = last(EventId::check_decided);
        if (event == nullptr) return "no event";
        for (const EventValue& value : event->values)
            if (value.name == "why") return std::get<std::string>(value.value);
        return "no reason";
    }
    [[nodiscard]] auto decided() const {
        return std::ranges::count(out.events, std::optional(EventId::check_decided), &Event::id);
    }
    [[nodiscard]] auto rows() const {
        return std::ranges::count(out.rows, DeskBench::named("alpha/readiness").id, &RowRecord::table);
    }

  private:
    static json named(json check) {
        check["id"] = "it";
        check["title"] = "It";
        return check;
    }
};

const json kNoAlert{{"alert", json::object()}};

} // namespace

TEST_CASE("the reason of a check that goes on failing is the newest one") {
    Reasons bench(kNoAlert);
    bench.run(1);
    bench.alert(EventId::position_lost);
    bench.run(10);
    const std::string first = bench.why();
    CHECK(first == bench.last(EventId::position_lost)->text); // as people were told
    bench.alert(EventId::link_down);
    bench.alert(EventId::position_lost, true);
    bench.run(20);
    CHECK(bench.state("alpha/readiness", "it") == "fails");
    CHECK(bench.why() == bench.last(EventId::link_down)->text);
    CHECK(bench.why() != first);
    CHECK(bench.decided() == 3);   // it held, failed, and goes on failing for another reason
    CHECK(bench.rows() <= 20 + 2); // a reason makes no row
}

TEST_CASE("the reason of a check that goes on waiting is the newest one") {
    Reasons bench({{"value", kBattery}, {"measure", "mean"}, {"over_s", 60}, {"least", 7}});
    bench.battery(40, [](double) { return 8.0; });
    REQUIRE(bench.state("alpha/readiness", "it") == "holds");
    bench.run(140);
    CHECK(bench.state("alpha/readiness", "it") == "waits");
    CHECK(bench.why() == "not yet measured for 60 s"); // which is what it waits for now
    bench.battery(165, [](double) { return 8.0; });
    CHECK(bench.state("alpha/readiness", "it") == "waits");
    CHECK(bench.why() == "not yet measured for 60 s");
    CHECK(bench.decided() <= 4);
}

TEST_CASE("reasons that come and go are not told one by one") {
    SECTION("about a limit") {
        Reasons bench({{"value", kBattery}, {"least", 7}});
        bench.battery(60, [](double t_s) { return std::lround(t_s * 10) % 2 == 0 ? 6.9 : 7.1; });
        CHECK(bench.decided() <= 3);
    }
    SECTION("of alerts") {
        Reasons bench(kNoAlert);
        bench.alert(EventId::position_lost);
        for (int k = 0; k < 30; ++k) {
            bench.alert(EventId::link_down, k % 2 == 1);
            bench.run(bench.t_s() + 2);
        }
        CHECK(bench.decided() <= 3);
    }
    SECTION("with a figure that runs") {
        Reasons bench({{"value", kBattery}, {"measure", "mean"}, {"over_s", 600}, {"least", 7}});
        bench.battery(290, [](double) { return 8.0; });
        CHECK(bench.decided() == 0); // it has waited for the same thing from the beginning
    }
}

TEST_CASE("a check that is decided has the reason of that moment") {
    Reasons bench(kNoAlert, "check");
    bench.act(ProcedureCommand{"alpha", "bench", ProcedureStep::begin, "KL"});
    bench.alert(EventId::position_lost);
    bench.run(10);
    bench.alert(EventId::link_down);
    bench.run(11);
    bench.act(StepCommand{"alpha", "look", StepDeed::done, "KL"});
    CHECK_THAT(bench.why(), Catch::Contains(bench.last(EventId::link_down)->text));
    const auto decided = bench.decided();
    bench.run(60);
    CHECK(bench.decided() == decided);
}
