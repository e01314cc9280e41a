// The readiness board and the poll. The property: it never says ready while a must-check fails, waits, is too old or
// cannot be evaluated, or while a position does not say go.
#include <random>

#include <catch2/catch.hpp>

#include "tests/monitor/desk_bench.hpp"

using namespace turnstone;
using namespace turnstone::test;
using nlohmann::json;
using Story = std::vector<std::string>;

namespace {

const json kChecks = json::array(
    {{{"id", "power"}, {"title", "Power"}, {"value", {{"table", "health"}, {"column", "battery"}}}, {"least", 7}},
     {{"id", "still"},
      {"title", "Still"},
      {"severity", "should"},
      {"value", {{"table", "imu"}, {"column", "x"}}},
      {"within", 1}},
     {{"id", "clear"}, {"title", "Clear"}, {"statement", true}}});

class Board : public DeskBench {
  public:
    Board() : DeskBench({readiness_file(kChecks, {"range", "weather"})}) {}
    void ask(const std::string& position) { act(PollQuestion{position}); }
    void answer(const std::string& position, bool go) {
        act(PollAnswer{.position = position, .go = go, .by = "KL", .note = go ? "" : "rain"});
    }
    void clear(bool holds) { act(CheckStatement{.vehicle = "alpha", .check = "clear", .holds = holds, .by = "KL"}); }
    void power(double volts, double for_s) {
        run(
            t_s() + for_s,
            [&] {
                row("alpha/health", {{"battery", volts}});
            });
    }
    /// What the newest ready or not_ready says.
    [[nodiscard]] bool says_ready() const {
        for (auto event = out.events.rbegin(); event != out.events.rend(); ++event)
            if (event->id == EventId::ready || event->id == EventId::not_ready ||
                event->id == EventId::readiness_at_liftoff)
                return event->id == EventId::ready;
        return false;
    }
    void make_ready() {
        clear(true);
        answer("range", true);
        answer("weather", true);
        power(8, 1);
        REQUIRE(says_ready());
        (void)story();
    }
};

} // namespace

TEST_CASE("the board is ready when every must-check holds and every position says go, and says why not") {
    Board bench;
    bench.power(8, 1);
    bench.clear(true);
    bench.ask("range");
    bench.answer("range", true);
    bench.answer("weather", false);
    bench.answer("nobody", true);
    CHECK(bench.story() == Story{"check_decided power holds", "statement clear", "check_decided clear holds",
                                 "poll_asked range", "poll_answered range", "poll_answered weather"});
    CHECK_FALSE(bench.says_ready());
    bench.answer("weather", true);
    CHECK(bench.story() == Story{"poll_answered weather", "ready"}); // at once; "still" waits, and is only a should
    bench.power(8, 1);
    CHECK(bench.newest("alpha/readiness", "ready") == 1);
    bench.power(6, 0.1);
    CHECK(bench.story() == Story{"check_decided power fails", "not_ready"});
    CHECK(std::get<Story>(bench.last(EventId::not_ready)->values.at(0).value) == Story{"Power: fails"});
    CHECK(bench.newest("alpha/readiness", "ready") == 0);
    bench.power(8, 3);
    CHECK(bench.says_ready());
    bench.ask("weather"); // takes back what it said
    CHECK_FALSE(bench.says_ready());
    CHECK(std::get<Story>(bench.last(EventId::not_ready)->values.at(0).value) == Story{"weather: has not answered"});
}

TEST_CASE("a silent vehicle is not ready") {
    Board bench;
    bench.make_ready();
    bench.run(bench.t_s() + 5);
    CHECK_FALSE(bench.says_ready());
    CHECK(bench.state("alpha/readiness", "power") == "waits");
}

TEST_CASE("at liftoff the board says once how it stood, and its answers are spent") {
    Board bench;
    const bool ready = GENERATE(true, false);
    if (ready) bench.make_ready();
    (void)bench.story();
    bench.event(EventId::liftoff);
    const Event* said = bench.last(EventId::readiness_at_liftoff);
    REQUIRE(said != nullptr);
    CHECK(std::get<bool>(said->values.at(0).value) == ready);
    CHECK(said->values.size() == (ready ? 1u : 2u));
    (void)bench.story();
    bench.power(6, 5);
    bench.answer("range", false);
    CHECK(bench.story() == Story{"poll_answered range"}); // it is closed in flight
    bench.clear(true);                                    // from a page that is behind
    bench.answer("weather", true);
    bench.event(EventId::ready_again);
    bench.run(bench.t_s() + 3);
    bench.answer("range", true);
    bench.power(8, 3);
    CHECK_FALSE(bench.says_ready()); // what was said in flight is not of the next one
    bench.answer("weather", true);
    CHECK_FALSE(bench.says_ready()); // whether it is clear has to be said again
    bench.clear(true);
    CHECK(bench.says_ready());
}

TEST_CASE("the verdict is that of the liftoff, not of the moment at which it is found") {
    Board bench;
    bench.make_ready();
    const bool before = GENERATE(false, true);
    const double liftoff_s = bench.t_s() + (before ? 1.0 : -0.1);
    bench.power(6, 0.3); // what thrust does to a check
    bench.run(std::max(bench.t_s(), liftoff_s + 0.3));
    bench.event(EventId::liftoff, liftoff_s);
    const Event* said = bench.last(EventId::readiness_at_liftoff);
    REQUIRE(said != nullptr);
    CHECK(std::get<bool>(said->values.at(0).value) != before);
    if (before) CHECK(std::get<Story>(said->values.at(1).value) == Story{"Power: fails"});
}

TEST_CASE("the next recording knows what people said for the board, and when") {
    Board before;
    before.make_ready();
    before.answer("weather", false);
    std::vector<Action> carried;
    before.desk.carry(carried);
    Board after;
    after.go_on_from(carried);
    after.power(8, 1);
    CHECK_FALSE(after.says_ready());
    after.answer("weather", true);
    CHECK(after.says_ready());
}

TEST_CASE("a recording that begins in flight has the verdict of the liftoff, not one of its own") {
    Board before;
    before.make_ready();
    before.event(EventId::liftoff);
    std::vector<Action> carried;
    before.desk.carry(carried);
    Board after;
    after.desk.carries(true);
    after.event(EventId::liftoff);
    after.desk.carries(false);
    CHECK(after.story() == Story{"liftoff"});
    for (const Action& action : carried)
        if (const auto* verdict = std::get_if<CarriedVerdict>(&action)) after.act(*verdict);
    CHECK(after.story() == Story{"readiness_at_liftoff"});
    CHECK(std::get<bool>(after.last(EventId::readiness_at_liftoff)->values.at(0).value));
    after.power(8, 3);
    CHECK_FALSE(after.says_ready());
}

TEST_CASE("the board never says ready while a must-check does not hold or a position does not say go") {
    std::size_t times_ready = 0;
    for (unsigned seed = 0; seed < 40; ++seed) {
        std::mt19937 random(seed);
        const auto one_in = [&](unsigned n) { return random() % n == 0; };
        Board bench;
        // What is true by the test's own account.
        double volts = 8, t_power_s = -100, t_bad_s = -100;
        bool cleared = false;
        std::map<std::string, bool> go;
        bool sends = true, left = false;
        for (int step = 0; step < 1500; ++step) {
            if (one_in(150)) volts = one_in(3) ? 6 : 8;
            if (one_in(200)) sends = !sends;
            const bool nan = one_in(20);
            bench.run(bench.t_s() + 0.1, [&] {
                if (!sends) return;
                bench.row("alpha/health", {{"battery", nan ? kNaN : volts}});
                if (nan) return;
                t_power_s = bench.t_s();
                if (volts < 7) t_bad_s = bench.t_s();
            });
            if (one_in(60)) bench.clear(cleared = !one_in(4));
            for (const std::string position : {"range", "weather"}) {
                if (one_in(80)) bench.answer(position, go[position] = !one_in(4));
                if (one_in(300)) {
                    bench.ask(position);
                    go[position] = false;
                }
            }
            if (one_in(700)) {
                bench.event(left ? EventId::ready_again : EventId::liftoff);
                left = !left;
                if (left) {
                    go.clear();
                    cleared = false;
                }
            }
            INFO("seed " << seed << " at " << bench.t_s() << " s");
            const double t = bench.t_s();
            const bool may =
                cleared && go["range"] && go["weather"] && !left && t - t_power_s <= 3 + 1e-6 && t - t_bad_s > 0;
            if (bench.says_ready()) {
                ++times_ready;
                REQUIRE(may);
            }
        }
    }
    CHECK(times_ready > 1000); // else it would have said nothing
}
