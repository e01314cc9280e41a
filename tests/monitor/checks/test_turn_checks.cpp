// How far a vehicle has turned since somebody confirmed that it is aligned. Gravity in its axes is worked out by hand:
// a lean of some degrees of a vehicle whose long axis stood upright moves it from (g, 0, 0) to g (cos, sin, 0).
#include <algorithm>
#include <numbers>
#include <random>

#include "tests/monitor/checks/check_cases.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

constexpr double kRailForce_mps2 = 9.8; // of any pad, to the limits used here
constexpr double kAMinute_s = 60;

const json kRailChecks = json::array({{{"id", "set"}, {"title", "Rail set"}, {"statement", true}},
                                      {{"id", "moved"},
                                       {"title", "Moved"},
                                       {"value", {{"table", "imu"}, {"columns", {"x", "y", "z"}}}},
                                       {"measure", "turned"},
                                       {"over_s", 10},
                                       {"since", "set"},
                                       {"most", 3}}});

/// Ten samples a second of a vehicle that leans.
class Rail : public DeskBench {
  public:
    Rail() : DeskBench({readiness_file(kRailChecks)}) {}
    void say(bool holds = true) { act(CheckStatement{.vehicle = "alpha", .check = "set", .holds = holds, .by = "KL"}); }
    /// With the sensor's noise, m/s2 in each axis; `lean_deg` of the bench's time.
    void stand(double for_s, const std::function<double(double)>& lean_deg, double noise_mps2 = 0.25) {
        std::normal_distribution<double> noise(0, noise_mps2);
        run(t_s() + for_s, [&] {
            const double lean = lean_deg(t_s()) * std::numbers::pi / 180;
            row("alpha/imu", {{"x", kRailForce_mps2 * std::cos(lean) + noise(random_)},
                              {"y", kRailForce_mps2 * std::sin(lean) + noise(random_)},
                              {"z", noise(random_)}});
        });
    }
    void stand(double for_s, double lean_deg = 0) {
        stand(
            for_s, [lean_deg](double) { return lean_deg; });
    }
    void aligned() {
        stand(20);
        say();
        stand(20);
        REQUIRE(state() == "holds");
    }
    [[nodiscard]] std::string state() const { return DeskBench::state("alpha/readiness", "moved"); }
    [[nodiscard]] double turned_deg() const { return newest("alpha/readiness", "moved"); }
    [[nodiscard]] std::string why() const {
        std::string newest;
        for (const Event& event : out.events)
            if (event.id == EventId::check_decided && has(event, "check", "moved"))
                for (const EventValue& value : event.values)
                    if (value.name == "why") newest = std::get<std::string>(value.value);
        return newest;
    }
    [[nodiscard]] std::size_t decided() const {
        return static_cast<std::size_t>(std::ranges::count_if(
            out.events,
            [](const Event& event) { return event.id == EventId::check_decided && has(event, "check", "moved"); }));
    }

  private:
    static bool has(const Event& event, std::string_view name, const std::string& text) {
        return std::ranges::any_of(
            event.values,
            [&](const EventValue& value) { return value.name == name && value.value == decltype(value.value)(text); });
    }
    std::mt19937 random_{11};
};

} // namespace

TEST_CASE("nothing is said of a turn until somebody has confirmed the alignment, and denying takes it back") {
    Rail rail;
    rail.stand(30);
    CHECK(rail.state() == "waits");
    CHECK(std::isnan(rail.turned_deg()));
    rail.say();
    rail.stand(1);
    CHECK(rail.state() == "holds"); // from what stood before
    CHECK(rail.turned_deg() < 1);
    rail.say(false);
    rail.stand(1);
    CHECK(rail.state() == "waits");
    CHECK(rail.why() == "nobody has confirmed \"Rail set\" yet");
}

TEST_CASE("a slow turn is seen") {
    Rail rail;
    rail.aligned();
    const double t_s = rail.t_s();
    rail.stand(20 * kAMinute_s, [t_s](double now_s) { return 4 * (now_s - t_s) / (20 * kAMinute_s); });
    rail.stand(20, 4);
    CHECK(rail.state() == "fails");
    // The noise of 100 samples leaves 0.25 / (9.8 x 10) of a radian, 0.15 degrees, in either mean.
    CHECK(rail.turned_deg() == Approx(4).margin(0.6));
}

TEST_CASE("a quick turn is seen, and stays seen") {
    Rail rail;
    rail.aligned();
    rail.stand(15, -4);
    CHECK(rail.state() == "fails");
    rail.stand(10 * kAMinute_s, -4);
    CHECK(rail.state() == "fails");
    CHECK(rail.turned_deg() == Approx(4).margin(0.6));
    rail.say(); // it is set again
    rail.stand(3, -4);
    CHECK(rail.state() == "holds");
    rail.stand(15, 0); // back where it was before is now a turn
    CHECK(rail.state() == "fails");
}

TEST_CASE("a turn about any level axis has its angle, one about the vertical none") {
    // Rodrigues' formula: u about an axis k by a is u cos a + (k x u) sin a + k (k . u) (1 - cos a).
    for (const auto& [about_vertical, expected_deg] : {std::pair(false, 120.0), std::pair(true, 0.0)}) {
        Rail rail;
        const auto stands = [&rail](double for_s, double x, double y, double z) {
            rail.run(rail.t_s() + for_s, [&, x, y, z] { rail.row("alpha/imu", {{"x", x}, {"y", y}, {"z", z}}); });
        };
        stands(20, kRailForce_mps2, 0, 0);
        rail.say();
        if (about_vertical)
            stands(20, kRailForce_mps2, 0, 0); // gravity stays where it is in the vehicle
        else
            stands(20, -kRailForce_mps2 / 2, 0, kRailForce_mps2 * std::sqrt(3) / 2);
        CHECK(rail.turned_deg() == Approx(expected_deg).margin(1e-3));
    }
}

TEST_CASE("a turn is shown only of a vehicle at rest, and counts only from rest") {
    Rail rail;
    rail.stand(4);
    rail.say(); // too soon: there is no mean to count from
    rail.stand(30);
    CHECK(rail.state() == "not_evaluated");
    CHECK(rail.why() == "not 10 s at rest before \"Rail set\" was confirmed: confirm it again");
    rail.say();
    rail.stand(5);
    CHECK(rail.state() == "holds");
    const auto hands = [&rail] { // shaken and turned by somebody
        const double t_s = rail.t_s();
        rail.stand(
            10, [t_s](double now_s) { return 20 * std::sin(now_s - t_s); }, 2.5);
    };
    hands();
    CHECK(rail.state() == "waits");
    CHECK_THAT(rail.why(), Catch::Contains("not yet at rest for 10 s"));
    rail.say(); // while they hold it
    rail.stand(30);
    CHECK(rail.state() == "not_evaluated");
    rail.say();
    rail.stand(1);
    CHECK(rail.state() == "holds");
    for (int k = 0; k < 10; ++k) hands();
    rail.stand(20);
    CHECK(rail.state() == "holds");
    CHECK(rail.decided() <= 30); // and no event at every shake
}

TEST_CASE("without samples a turn waits, and is known again after the loss") {
    Rail rail;
    rail.aligned();
    const double t_s = rail.t_s();
    rail.run(t_s + kAMinute_s);
    CHECK(rail.state() == "waits");
    const bool moved = GENERATE(false, true); // meanwhile
    rail.stand(20, moved ? 4 : 0);
    CHECK(rail.state() == (moved ? "fails" : "holds"));
    CHECK(rail.turned_deg() == Approx(moved ? 4 : 0).margin(0.6));
    rail.run(rail.t_s() + kAMinute_s);
    rail.say(); // of a vehicle that nobody hears
    rail.stand(20, 4);
    CHECK(rail.state() == "not_evaluated");
}

TEST_CASE("the next recording counts from the alignment of the one before") {
    const bool moved = GENERATE(false, true); // between the two
    Rail before;
    before.aligned();
    std::vector<Action> carried;
    before.desk.carry(carried);
    Rail after;
    after.desk.carries(true);
    after.stand(30, moved ? 4 : 0); // the rest that a recording begins with
    after.desk.carries(false);
    after.go_on_from(carried);
    after.stand(5, moved ? 4 : 0);
    CHECK(after.state() == (moved ? "fails" : "holds"));
    CHECK(after.turned_deg() == Approx(moved ? 4 : 0).margin(0.6));
    CHECK(after.decided() == 1); // at once
    after.say();
    after.stand(5, moved ? 4 : 0);
    CHECK(after.state() == "holds");
}

TEST_CASE("a baseline that a damaged recording holds is passed over") {
    Rail rail;
    rail.stand(20);
    rail.say();
    for (const std::vector<double>& values : {std::vector<double>{}, {1, 2}, {1, 2, 3, 4}})
        rail.act(CarriedBaseline{"alpha", "", "moved", values, rail.now_ns()});
    rail.act(CarriedBaseline{"alpha", "none", "moved", {0, 0, 9.8}, rail.now_ns()});
    rail.act(CarriedBaseline{"nobody", "", "moved", {0, 0, 9.8}, rail.now_ns()});
    rail.stand(1);
    CHECK(rail.state() == "holds");
}

TEST_CASE("after liftoff a turn raises nothing, and the next flight is aligned for itself") {
    Rail rail;
    rail.aligned();
    rail.event(EventId::liftoff);
    (void)rail.story();
    rail.stand(
        60, [](double t_s) { return 50 * t_s; }, 20);
    CHECK(rail.story().empty());
    rail.event(EventId::ready_again);
    rail.stand(30, 90);
    CHECK(rail.state() == "waits");
}

TEST_CASE("a procedure counts from its own statement, and from there in the next recording") {
    const json procedure{{"title", "Pad"},
                         {"checks", kRailChecks},
                         {"steps", {{{"id", "a"}, {"kind", "check"}, {"title", "A"}, {"checks", {"set", "moved"}}}}}};
    DeskBench bench({{"procedures/pad.json", procedure.dump()}});
    const auto stand = [](DeskBench& at, double for_s, double y) {
        at.run(at.t_s() + for_s, [&, y] {
            at.row("alpha/imu", {{"x", std::sqrt(kRailForce_mps2 * kRailForce_mps2 - y * y)}, {"y", y}, {"z", 0}});
        });
    };
    const double one_degree_mps2 = kRailForce_mps2 * std::sin(std::numbers::pi / 180);
    bench.act(ProcedureCommand{"alpha", "pad", ProcedureStep::begin, "KL"});
    stand(bench, 20, 0);
    bench.act(CheckStatement{.vehicle = "alpha", .check = "set", .holds = true, .by = "KL"});
    stand(bench, 20, one_degree_mps2);
    CHECK(bench.newest("alpha/procedure/pad", "moved") == Approx(1).margin(1e-3));
    std::vector<Action> carried;
    bench.desk.carry(carried);
    DeskBench after({{"procedures/pad.json", procedure.dump()}});
    after.go_on_from(carried);
    stand(after, 20, 2 * one_degree_mps2);
    CHECK(after.newest("alpha/procedure/pad", "moved") == Approx(2).margin(1e-2));
    CHECK(after.state("alpha/procedure/pad", "moved") == "holds");
}
