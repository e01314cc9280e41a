// The deployment watch on falls that are known in closed form: with quadratic drag from rest, v = v_t tanh(g t / v_t).
#include <catch2/catch.hpp>

#include <cmath>
#include <functional>
#include <set>

#include "server/monitor/flight/deployment_watch.hpp"
#include "shared/atmosphere.hpp"
#include "tests/monitor/flight/flight_views.hpp"

using namespace turnstone;
using namespace turnstone::test;
using estimate::Phase;

namespace {

constexpr double kG_mps2 = 9.806; // at 45° N, near the ground
constexpr double kStep_s = 0.1;

/// Which conditions held at which times after apogee.
struct Seen {
    std::set<EventId> ever;
    double first_s = NAN; ///< of any
    double last_s = NAN;
    std::vector<Condition> last;
    DeploymentFigures figures;
};

/// A fall from 1000 m at the rate that drag areas over time give, seen by the watch ten times a second. `area_m2`: by
/// seconds since apogee and altitude. `phase`: what the phases say.
Seen fall(const std::function<double(double, double)>& area_m2, const std::function<Phase(double, double)>& phase,
          const Vehicle& vehicle = parachute_vehicle(), double sigma_mps = 0.5, double slower_mps = 0) {
    DeploymentWatch watch(vehicle, sea_level_site());
    Seen seen;
    double altitude_m = 1000, down_mps = 0;
    FlightView view;
    std::optional<std::int64_t> out_ns;
    for (double t_s = 0; altitude_m > 0 && t_s < 300; t_s += kStep_s) {
        constexpr int kParts = 100;
        for (int k = 0; k < kParts; ++k) {
            const double density = standard_atmosphere(altitude_m).density_kg_m3;
            const double drag_mps2 = 0.5 * density * down_mps * down_mps * area_m2(t_s, altitude_m) / 3.0;
            down_mps += (kG_mps2 - drag_mps2) * kStep_s / kParts;
            altitude_m -= down_mps * kStep_s / kParts;
        }
        view = view_of(phase(t_s, altitude_m), 14 + t_s, altitude_m, -down_mps);
        view.apogee_ns = viewed_at(14);
        if (view.phase >= Phase::under_drogue && !out_ns) out_ns = view.t_ns;
        view.drogue_out_ns = out_ns;
        view.vertical_speed_mps.sigma = sigma_mps;
        view.speed_of_mps[static_cast<std::size_t>(MotionSource::navigation)] = view.vertical_speed_mps;
        if (slower_mps > 0)
            view.speed_of_mps[static_cast<std::size_t>(MotionSource::vertical)] = {-slower_mps, 1.0,
                                                                                   view.t_measured_ns};
        std::vector<Condition> found;
        watch.judge(view, found);
        for (const Condition& each : found) {
            if (seen.ever.empty()) seen.first_s = t_s;
            seen.ever.insert(each.id);
            seen.last_s = t_s;
        }
        if (!found.empty()) seen.last = found;
        seen.figures = watch.figures();
    }
    return seen;
}

Phase as_planned(double t_s, double altitude_m) {
    return altitude_m < 170 ? Phase::under_main : t_s > 0.6 ? Phase::under_drogue : Phase::falling;
}

double planned_m2(double t_s, double altitude_m) {
    return altitude_m < 175 ? 1.66 : t_s > 0.8 ? 0.11 : 0.01;
}

const Condition& only(const Seen& seen, EventId id) {
    for (const Condition& each : seen.last)
        if (each.id == id) return each;
    throw std::runtime_error("not found");
}

} // namespace

TEST_CASE("a descent as the vehicle file has it, or scattered about it, raises nothing") {
    CHECK(fall(planned_m2, as_planned).ever.empty());
    for (const double factor : {0.7, 0.85, 1.2, 1.4})
        CHECK(fall([&](double t_s, double h_m) { return factor * planned_m2(t_s, h_m); }, as_planned).ever.empty());
    // A second late, and swinging by 2 m/s.
    CHECK(fall([](double t_s, double h_m) { return planned_m2(t_s - 1.0, h_m); }, as_planned).ever.empty());
    CHECK(fall([](double t_s, double h_m) { return planned_m2(t_s, h_m) * (1 + 0.15 * std::sin(4 * t_s)); }, as_planned)
              .ever.empty());
    // The main with the drogue.
    CHECK(fall([](double t_s, double) { return t_s > 0.8 ? 1.66 : 0.01; },
               [](double t_s, double) { return t_s > 0.6 ? Phase::under_drogue : Phase::falling; })
              .ever.empty());
}

TEST_CASE("in a flight that was joined under a parachute, that one is out and the next is awaited") {
    DeploymentWatch watch(parachute_vehicle(), sea_level_site());
    std::vector<Condition> found;
    for (double t_s = 40; t_s < 50; t_s += kStep_s) {
        FlightView view = view_of(Phase::under_drogue, t_s, 1000 - 20 * (t_s - 40), -20);
        view.liftoff_ns.reset();
        view.joined_ns = viewed_at(40);
        watch.judge(view, found);
        CHECK(watch.figures().parachutes[0].state == ParachuteState::out);
        CHECK(watch.figures().parachutes[1].state == ParachuteState::not_due);
        CHECK(watch.figures().parachutes[1].expected_in_s > 20);
    }
    FlightView view = view_of(Phase::under_main, 60, 100, -6);
    view.liftoff_ns.reset();
    view.joined_ns = viewed_at(40);
    watch.judge(view, found);
    CHECK(watch.figures().parachutes[0].state == ParachuteState::out);
    CHECK(watch.figures().parachutes[1].state == ParachuteState::out);
}

TEST_CASE("no parachute is known once the fall is faster than a drogue allows, and an impact is announced") {
    const Seen seen = fall([](double, double) { return 0.005; }, [](double, double) { return Phase::falling; });
    CHECK(seen.ever == std::set{EventId::no_parachute, EventId::impact_expected});
    // 1.2 times the drogue's 20 m/s, with gusts: in free fall at 9.8 m/s2.
    CHECK(seen.first_s > 2.5);
    CHECK(seen.first_s < 4.5);
    CHECK(seen.figures.parachutes[0].state == ParachuteState::failed);
    CHECK(std::abs(seen.figures.rate_mps - seen.figures.no_parachute_rate_mps) < 0.1 * seen.figures.rate_mps);
}

TEST_CASE("a charge that was seen does not hide a parachute that does not carry") {
    const Seen seen = fall([](double, double) { return 0.003; }, as_planned);
    CHECK(seen.ever.contains(EventId::no_parachute));
    CHECK(seen.first_s < 4.5);
}

TEST_CASE("a drogue that opens late ends the warning, and is called late") {
    const Seen seen = fall([](double t_s, double h_m) { return planned_m2(t_s - 6.0, h_m); },
                           [](double t_s, double h_m) { return as_planned(t_s - 6.0, h_m); });
    CHECK(seen.ever.contains(EventId::no_parachute));
    CHECK(seen.ever.contains(EventId::parachute_late));
    CHECK_FALSE(seen.ever.contains(EventId::parachute_partial));
    CHECK(seen.figures.parachutes[0].state == ParachuteState::out);
}

TEST_CASE("a drogue that fills while it slows the fall is not called partly open") {
    for (const double fills_s : {0.5, 1.5, 2.5, 3.5}) {
        CAPTURE(fills_s);
        const Seen seen = fall(
            [&](double t_s, double h_m) {
                return h_m < 175 ? 1.66 : 0.01 + 0.1 * std::clamp((t_s - 6.0) / fills_s, 0.0, 1.0);
            },
            [](double t_s, double h_m) {
                return h_m < 170 ? Phase::under_main : t_s > 6 ? Phase::under_drogue : Phase::falling;
            });
        CHECK(seen.ever.contains(EventId::no_parachute));
        CHECK_FALSE(seen.ever.contains(EventId::parachute_partial));
        CHECK(seen.figures.parachutes[0].state == ParachuteState::out);
    }
}

TEST_CASE("between a drogue and none, and between a main and none, a parachute is partly open") {
    const Seen drogue =
        fall([](double t_s, double h_m) { return t_s > 0.8 && h_m > 175 ? 0.045 : planned_m2(t_s, h_m); }, as_planned);
    CHECK(drogue.ever == std::set{EventId::parachute_partial});
    CHECK(only(drogue, EventId::parachute_partial).about == "drogue");
    const Seen main = fall([](double t_s, double h_m) { return h_m < 175 ? 0.11 + 0.2 : planned_m2(t_s, h_m); },
                           as_planned, parachute_vehicle(), 0.2);
    CHECK(main.ever == std::set{EventId::parachute_partial});
    CHECK(only(main, EventId::parachute_partial).about == "main");
}

TEST_CASE("a main that does not follow the drogue is late") {
    const Seen seen = fall([](double t_s, double) { return t_s > 0.8 ? 0.11 : 0.01; },
                           [](double t_s, double) { return t_s > 0.6 ? Phase::under_drogue : Phase::falling; });
    CHECK(seen.ever == std::set{EventId::parachute_late});
    CHECK(only(seen, EventId::parachute_late).about == "main");
    CHECK(seen.figures.parachutes[0].state == ParachuteState::out);
    CHECK(seen.figures.parachutes[1].state >= ParachuteState::late);
}

TEST_CASE("a fall faster than gravity can have made it tells of no lost parachute") {
    // A barometer in the pressure of the main's charge, believed for a second: 22 m/s become 47 m/s in a tenth of one.
    DeploymentWatch watch(parachute_vehicle(), sea_level_site());
    auto judged = [&, altitude_m = 300.0](double t_s, double down_mps, double sigma_mps) mutable {
        altitude_m -= kStep_s * std::min(down_mps, 22.0);
        FlightView view = view_of(Phase::under_drogue, 14 + t_s, altitude_m, -down_mps);
        view.apogee_ns = viewed_at(14);
        view.drogue_out_ns = viewed_at(15);
        view.vertical_speed_mps.sigma = sigma_mps;
        view.speed_of_mps[static_cast<std::size_t>(MotionSource::vertical)] = view.vertical_speed_mps;
        std::vector<Condition> found;
        watch.judge(view, found);
        return found.size();
    };
    double t_s = 40;
    for (; t_s < 43; t_s += kStep_s) CHECK(judged(t_s, 22, 0.6) == 0);
    SECTION("told too fast") {
        for (double s = 0; s < 1.2; s += kStep_s) CHECK(judged(t_s + s, 47 + 9 * s, 3) == 0);
    }
    SECTION("torn off, it falls as gravity has it, and that is told") {
        std::size_t told = 0;
        for (double s = 0; s < 2; s += kStep_s) told += judged(t_s + s, 22 + kG_mps2 * s, 0.6);
        CHECK(told > 0);
    }
}

TEST_CASE("where nothing is to be known nothing is said: no parachutes, no rocket, a rate that is hardly known") {
    Vehicle none = parachute_vehicle();
    none.rocket->parachutes.clear();
    Vehicle boat;
    boat.name = "boat";
    const auto unbraked = [](double, double) { return 0.003; };
    const auto falling = [](double, double) { return Phase::falling; };
    for (const Vehicle& vehicle : {none, boat}) {
        CHECK(fall(unbraked, falling, vehicle).ever.empty());
        CHECK_FALSE(DeploymentWatch::table(vehicle));
    }
    CHECK(fall(unbraked, falling, parachute_vehicle(), 60.0).ever.empty());
    // Two sources that contradict each other, as after a restart of the vehicle's computer.
    CHECK(fall(unbraked, falling, parachute_vehicle(), 0.5, 20.0).ever.empty());
    // One that opens low only is not due at apogee.
    Vehicle low = parachute_vehicle();
    low.rocket->parachutes.erase(low.rocket->parachutes.begin());
    low.rocket->parachutes.front().opens_below_m = 600;
    const Seen seen = fall(unbraked, falling, low);
    CHECK(seen.ever.contains(EventId::no_parachute));
    CHECK(seen.first_s > 9);
}

TEST_CASE("the deployment table has each parachute's columns, by its name") {
    Vehicle vehicle = parachute_vehicle();
    vehicle.rocket->parachutes[0].name = "Small Drogue";
    const auto table = DeploymentWatch::table(vehicle);
    REQUIRE(table);
    std::set<std::string> names;
    for (const Column& column : table->about().columns) names.insert(column.name);
    for (const char* name : {"small_drogue_expected_in_s", "small_drogue_out", "small_drogue_rate_low_mps", "main_out",
                             "main_rate_high_mps", "rate_mps", "rate_mps_sigma", "no_parachute_rate_mps", "impact_in_s",
                             "impact_east_m", "impact_north_m"})
        CHECK(names.count(name) == 1);
    vehicle.rocket->parachutes[1].name = "Small drogue";
    CHECK(parachute_stem(*vehicle.rocket, 0) == "parachute_1");
    CHECK(parachute_stem(*vehicle.rocket, 1) == "parachute_2");
}
