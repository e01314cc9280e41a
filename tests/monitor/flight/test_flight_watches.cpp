// What goes wrong with knowing where a flight is, and what a silence of the link explains.
#include <catch2/catch.hpp>

#include <set>

#include "server/monitor/flight/flight_watches.hpp"
#include "server/monitor/flight/last_place.hpp"
#include "tests/monitor/flight/flight_views.hpp"

using namespace turnstone;
using namespace turnstone::test;
using estimate::Phase;

namespace {

/// A flight seen ten times a second for a minute. `shape` changes each view; a silence ends as the viewer says it does.
template <class Shape>
std::set<EventId> watched(const Shape& shape) {
    FlightWatches watch;
    std::set<EventId> found;
    for (int tick = 0; tick < 600; ++tick) {
        const double t_s = 0.1 * tick;
        FlightView view = view_of(Phase::coasting, t_s, 500, 10);
        view.t_fix_ns = view.t_measured_ns;
        view.t_attitude_ns = view.t_measured_ns;
        view.horizontal_sigma_m = 3;
        shape(t_s, view);
        std::vector<Condition> conditions;
        watch.judge(view, conditions);
        for (const Condition& each : conditions) found.insert(each.id);
    }
    return found;
}

void silence(FlightView& view, double from_s, double to_s) {
    const double t_s = seconds_between(viewed_at(0), view.t_ns);
    if (t_s > from_s && t_s < to_s)
        view.t_received_ns = view.t_measured_ns = view.t_fix_ns = view.t_attitude_ns = viewed_at(from_s);
    if (t_s >= to_s) {
        view.t_silence_end_ns = viewed_at(to_s);
        view.silence_s = to_s - from_s;
    }
}

} // namespace

TEST_CASE("a receiver that never finds its fix after liftoff is missed, one that takes five seconds is not") {
    CHECK(watched([](double, FlightView&) {}).empty());
    const auto without = [](double until_s) {
        return watched([=](double t_s, FlightView& view) {
            if (t_s < until_s) view.t_fix_ns = viewed_at(-1);
        });
    };
    CHECK(without(5).empty());
    CHECK(without(20) == std::set{EventId::no_fix_at_liftoff});
    // Of what is heard half is lost, and the receiver says in each packet that it has none.
    for (const bool says : {false, true})
        CHECK(watched([=](double, FlightView& view) {
                  view.t_fix_ns = viewed_at(-1);
                  view.loss = 0.5;
                  if (says) view.t_no_fix_ns = view.t_measured_ns;
              }).contains(EventId::no_fix_at_liftoff) == says);
    CHECK(watched([](double, FlightView& view) {
              view.sends_fixes = false;
              view.t_fix_ns = 0;
          }).empty());
}

TEST_CASE("a position is lost when fixes stop and it is no longer known to some tens of metres") {
    const auto stops = [](double sigma_m) {
        return watched([=](double t_s, FlightView& view) {
            if (t_s > 20) view.t_fix_ns = viewed_at(20), view.horizontal_sigma_m = sigma_m;
        });
    };
    CHECK(stops(20).empty());
    CHECK(stops(200) == std::set{EventId::position_lost});
}

TEST_CASE("a silence explains what is missing after it, and nothing is judged in one") {
    CHECK(watched([](double, FlightView& view) { silence(view, 20, 40); }).empty());
    CHECK(watched([](double t_s, FlightView& view) {
              silence(view, 20, 22.5);
              if (t_s > 20) view.t_attitude_ns = viewed_at(20);
          }).empty());
    CHECK(watched([](double t_s, FlightView& view) {
              if (t_s > 20) view.t_attitude_ns = viewed_at(20);
          }) == std::set{EventId::attitude_unknown});
    CHECK(watched([](double, FlightView& view) { view.t_attitude_ns = 0; }).empty()); // it never had one
    // Where most packets are lost, turns and fixes go missing with them. What is lost later ended nothing.
    const auto attitude_ends = [](double lossy_from_s, double lossy_to_s) {
        return watched([=](double t_s, FlightView& view) {
            view.loss = t_s > lossy_from_s && t_s < lossy_to_s ? 0.6 : 0.02;
            if (t_s > 20) view.t_attitude_ns = viewed_at(20);
        });
    };
    CHECK(attitude_ends(15, 30).empty());
    CHECK(attitude_ends(10, 18) == std::set{EventId::attitude_unknown});
    CHECK(attitude_ends(30, 40) == std::set{EventId::attitude_unknown});
    CHECK(watched([](double t_s, FlightView& view) {
              view.loss = 0.6;
              if (t_s > 20) view.t_fix_ns = viewed_at(20), view.horizontal_sigma_m = 200;
          }).empty());
}

TEST_CASE("the last place has a row for a newer fix, once a second, and none otherwise") {
    LastPlace last;
    int rows = 0;
    for (int tick = 0; tick < 100; ++tick) {
        FlightView view = view_of(Phase::under_main, 0, 50, -5);
        view.t_ns = kViewed_ns + tick * 100 * kNsPerMs;
        view.t_measured_ns = view.t_ns - 50 * kNsPerMs;
        view.place = place_of(view, tick, 0);
        if (tick > 50) view.place.t_ns = viewed_at(5);
        if (const auto row = last.next(view)) {
            ++rows;
            CHECK(row->t_ns == view.place.t_ns);
        }
    }
    CHECK(rows == 7); // at 0 to 5 s, and the fix of 5 s once more than a second has passed
    FlightView none = view_of(Phase::on_rail, 100);
    CHECK_FALSE(last.next(none));
}
