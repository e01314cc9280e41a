// Whether the demo's board tells a rail that was moved from an accelerometer that drifts: noise, walk of the offset,
// scale, mounting and warming as the simulator makes them (tools/sim/avionics), which shares nothing with the board.
#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <span>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

#include "tests/monitor/desk_bench.hpp"
#include "tests/monitor/readiness/demo_board.hpp"
#include "tools/sim/avionics/inertial.hpp"
#include "tools/sim/fly.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

constexpr double kMinute_s = 60, kHour_s = 3600;

class DemoRail : public DeskBench {
  public:
    DemoRail(const char* errors, std::uint64_t seed)
        : DeskBench(demo_board()), set_(*sim::error_set_from_name(errors)),
          sensor_(setup.vehicles.front().vehicle.sensors, sim::Random(seed, "imu"),
                  sim::draw_unit(set_.inertial, set_.shape, sim::Random(seed, "unit"))) {}

    void stand(double for_s, const std::function<double(double)>& lean_deg) {
        constexpr int kSamples = 20; // of a tick
        run(t_s() + for_s, [&] {
            if (std::fmod(t_s(), 10) < 0.05) { // rows are not needed any more
                follow();
                out.clear();
            }
            for (int k = 0; k < kSamples; ++k) {
                const double at_s = t_s() + sim::kImuPeriod_s * (k - kSamples);
                const double lean = lean_deg(at_s) * std::numbers::pi / 180;
                // The die warms by some kelvins in the first minutes, as the simulator's does.
                const auto reading = sensor_.read(at_s, {9.8 * std::cos(lean), 9.8 * std::sin(lean), 0},
                                                  Eigen::Vector3d::Zero(), {.warmed_k = 4 - 4 * std::exp(-at_s / 300)});
                row("sanderling/imu.samples",
                    {{"accel_body_x", reading.accel_body_mps2.x()},
                     {"accel_body_y", reading.accel_body_mps2.y()},
                     {"accel_body_z", reading.accel_body_mps2.z()}},
                    at_s);
            }
        });
    }
    void align() {
        stand(20, [](double) { return 0; });
        act(CheckStatement{.vehicle = "sanderling", .check = "rail_set", .holds = true, .by = "KL"});
    }
    [[nodiscard]] std::string state() const { return DeskBench::state("sanderling/readiness", "moved"); }
    [[nodiscard]] double turned_deg() const { return newest("sanderling/readiness", "moved"); }
    [[nodiscard]] double most_deg() const { return most_deg_; }
    [[nodiscard]] bool waited() const { return waited_; }

  private:
    void follow() {
        if (t_s() < 30) return;
        waited_ = waited_ || std::isnan(turned_deg());
        most_deg_ = std::max(most_deg_, turned_deg());
    }
    sim::ErrorSet set_;
    sim::InertialSensor sensor_;
    double most_deg_ = 0;
    bool waited_ = false;
};

} // namespace

TEST_CASE("an accelerometer that drifts for an hour moves no rail, and a rail that moves is told") {
    struct Case {
        const char* name;
        double for_s;
        std::function<double(double)> lean_deg; ///< of the time since the alignment
        const char* state;
    };
    const std::vector<Case> cases{
        {"not at all, for an hour", kHour_s, [](double) { return 0; }, "holds"},
        {"4 degrees in 20 minutes", 20 * kMinute_s + 20,
         [](double t_s) { return 4 * std::min(1.0, t_s / (20 * kMinute_s)); }, "fails"},
        {"4 degrees at once, ten minutes ago", 12 * kMinute_s,
         [](double t_s) { return t_s < 2 * kMinute_s ? 0.0 : 4.0; }, "fails"},
    };
    for (const auto& [errors, seed] : {std::pair("tuning", 7u), std::pair("acceptance", 5007u)})
        for (const Case& each : cases) {
            INFO(errors << ": " << each.name);
            DemoRail rail(errors, seed);
            rail.align();
            const double t_s = rail.t_s();
            rail.stand(each.for_s + 1, [&](double now_s) { return each.lean_deg(now_s - t_s); });
            INFO("turned by " << rail.turned_deg() << ", at most " << rail.most_deg());
            CHECK(rail.state() == each.state);
            if (each.state == std::string("holds")) {
                CHECK(rail.most_deg() < 3);
                CHECK(rail.most_deg() > 0); // else it would have measured nothing
                CHECK_FALSE(rail.waited());
            } else {
                // The walk of the offset, three sigmas of both axes in 20 minutes: 3 x 0.4 degrees x sqrt 2.
                CHECK(rail.turned_deg() == Approx(4).margin(1.7));
            }
        }
}

TEST_CASE("a rocket that leaves its rail is not one whose rail was moved") {
    auto scenario = sim::make_scenario("nominal", demo_path("sanderling"), demo_path("site.json"));
    REQUIRE(scenario);
    scenario->errors = *sim::error_set_from_name("acceptance");
    scenario->before_ignition_s = 40;
    const sim::FlightResult flight = sim::fly(*scenario, 5011);
    PipelineSetup setup = demo_board();
    setup.site = scenario->site;
    Pipeline pipeline(setup, kDeskStart_ns);
    pipeline.fly_one_prediction_in(0);
    const auto at_ns = [](double t_s) { return kDeskStart_ns + seconds_to_ns(t_s); };
    Batch out;
    bool said = false;
    for (const sim::Delivery& each : flight.received.deliveries) {
        if (each.t_end_s > flight.truth.events.liftoff_s + 20) break;
        if (!said && each.t_end_s > 25) {
            said = true;
            pipeline.action(at_ns(25), CheckStatement{"sanderling", "rail_set", true, "KL"}, out);
        }
        pipeline.chunk(0, at_ns(each.t_end_s), at_ns(each.t_end_s),
                       std::as_bytes(std::span(flight.received.bytes).subspan(each.offset, each.size)), out);
    }
    std::vector<std::string> states;
    std::vector<std::string> reasons{"none"};
    for (const Event& event : out.events) {
        const auto is = [&event](const char* name, const std::string& text) {
            return std::ranges::any_of(event.values, [&](const EventValue& value) {
                return value.name == name && value.value == decltype(value.value)(text);
            });
        };
        if (event.id == EventId::check_decided && is("check", "moved"))
            for (const EventValue& value : event.values)
                if (value.name == "state") states.push_back(std::get<std::string>(value.value));
        if (event.id == EventId::readiness_at_liftoff)
            for (const EventValue& value : event.values)
                if (value.name == "reasons") reasons = std::get<std::vector<std::string>>(value.value);
    }
    CHECK(states.at(0) == "holds");
    CHECK(std::ranges::find(states, "fails") == states.end());
    CHECK(reasons.size() > 1); // nobody was asked, the separation test was not passed
    for (const std::string& reason : reasons) {
        CHECK_THAT(reason, !Catch::Contains("Turned since aligned"));
        CHECK_THAT(reason, !Catch::Contains("gravity")); // nor does thrust fail what was at rest
    }
}
