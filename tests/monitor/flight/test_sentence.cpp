// The sentence: what is said in each state, when it changes, and what it never says.
#include <catch2/catch.hpp>

#include <cmath>
#include <numbers>

#include "server/monitor/flight/sentence.hpp"
#include "tests/monitor/flight/flight_views.hpp"

using namespace turnstone;
using namespace turnstone::test;
using estimate::Phase;

namespace {

/// What a new sentence says of a view, with the deployment watch having judged it.
EstimateEvent said_of(const FlightView& view, const Event* alert = nullptr,
                      const Vehicle& vehicle = parachute_vehicle()) {
    DeploymentWatch deployment(vehicle, sea_level_site());
    std::vector<Condition> conditions;
    deployment.judge(view, conditions);
    Sentence sentence(vehicle);
    const auto said = sentence.next(view, deployment, alert);
    REQUIRE(said);
    CHECK(said->text == sentence_text(said->values));
    return *said;
}

Event alert_of(EventId id, Level level, std::string key, std::string text) {
    Event alert{};
    alert.id = id;
    alert.kind = EventKind::alert_raised;
    alert.level = level;
    alert.key = std::move(key);
    alert.text = std::move(text);
    return alert;
}

Place polar(const FlightView& view, double distance_m, double bearing_deg) {
    const double bearing_rad = bearing_deg * std::numbers::pi / 180;
    return place_of(view, distance_m * std::sin(bearing_rad), distance_m * std::cos(bearing_rad));
}

FlightView coasting_to_apogee() {
    FlightView view = view_of(Phase::coasting, 9, 959.4, 54.3);
    view.ascent.apogee_m = {1107.4, 3.0, view.t_ns};
    view.ascent.at_ns = view.t_ns + seconds_to_ns(5.2);
    return view;
}

FlightView under_drogue() {
    FlightView view = view_of(Phase::under_drogue, 35, 612.3, -24.1);
    view.apogee_ns = viewed_at(14);
    view.drogue_out_ns = viewed_at(14.5);
    view.apogee_m = {1108.2, 2.0, viewed_at(14)};
    return view;
}

FlightView down(double place_t_s) {
    FlightView view = view_of(Phase::down, 100, 0.4, 0.0);
    view.apogee_ns = viewed_at(14);
    view.touchdown_ns = viewed_at(88);
    view.apogee_m = {1108.2, 2.0, viewed_at(14)};
    view.place = polar(view, 114.2, 116.3);
    view.place.t_ns = viewed_at(place_t_s);
    return view;
}

FlightView falling_without_parachute() {
    FlightView view = view_of(Phase::falling, 26, 550.4, -93.2);
    view.apogee_ns = viewed_at(14);
    estimate::ByLandingCase<std::optional<LandingPrediction>>& landing = view.landing;
    LandingPrediction ballistic;
    ballistic.probability = 0.3;
    ballistic.east_m = 340 * std::sin(245 * std::numbers::pi / 180);
    ballistic.north_m = 340 * std::cos(245 * std::numbers::pi / 180);
    ballistic.at_ns = view.t_ns + seconds_to_ns(5.1);
    landing[estimate::LandingCaseKind::no_parachute] = ballistic;
    view.t_landing_ns = view.t_ns;
    return view;
}

} // namespace

TEST_CASE("each state of a flight has its sentence") {
    const Event no_parachute =
        alert_of(EventId::no_parachute, Level::warning, "test/descent/no_parachute", "No parachute");
    const Event slow = alert_of(EventId::estimates_behind, Level::caution, "station/behind",
                                "This computer is too slow: estimates 1.3 s behind, no predictions");
    const Event lost = alert_of(EventId::link_down, Level::caution, "link/radio/down",
                                "Link radio: lost: /dev/serial/by-id/usb-an_adapter_with_a_long_name-if00-port0 was "
                                "unplugged or closed by the other side (End of file)");
    const Event noise =
        alert_of(EventId::link_trouble, Level::caution, "link/radio/trouble",
                 "Link radio: no good frame in 4000 bytes over 10 s. It looks like noise, without structure");
    const Event stuck = alert_of(EventId::barometer_stuck, Level::caution, "test/sensor/static_pressure/stuck",
                                 "Barometer stuck while the accelerometer shows a climb: pressure altitude ignored");
    const Event frozen = alert_of(EventId::sensor_frozen, Level::caution, "test/sensor/static_pressure/frozen",
                                  "Barometer frozen, ignored");
    const Event advisory = alert_of(EventId::wind_unknown, Level::advisory, "test/x", "Something small");
    FlightView nothing;
    nothing.t_ns = viewed_at(0);
    nothing.flies = true;
    FlightView lying = view_of(Phase::on_rail, 5);
    lying.tilt_deg = 88;
    FlightView tested = lying;
    tested.charges_at_rest = 2;
    FlightView climbing = view_of(Phase::coasting, 9, 959.4, 54.3); // nothing predicted
    FlightView top = view_of(Phase::falling, 14.2, 1107.8, -1.6);
    top.apogee_ns = viewed_at(14);
    top.apogee_m = {1108.2, 2.0, viewed_at(14)};
    FlightView main = view_of(Phase::under_main, 80, 95.4, -6.1);
    main.apogee_ns = viewed_at(14);
    FlightView unseen_liftoff = under_drogue();
    unseen_liftoff.liftoff_ns.reset();
    unseen_liftoff.joined_ns = viewed_at(30);
    FlightView silent = under_drogue();
    silent.t_received_ns = silent.t_ns - seconds_to_ns(4.2);
    silent.place = polar(silent, 213, 97);
    FlightView rail_silent = view_of(Phase::on_rail, 5);
    rail_silent.t_received_ns = rail_silent.t_ns - seconds_to_ns(12.4);
    FlightView presumed = down(85);
    presumed.phase = Phase::presumed_down;
    presumed.touchdown_ns.reset();
    FlightView long_presumed = presumed;
    long_presumed.t_received_ns = long_presumed.t_ns - seconds_to_ns(132);
    FlightView nowhere = down(95);
    nowhere.place = {};
    FlightView at_pad = down(95);
    at_pad.place = place_of(at_pad, 1.0, 1.0);
    at_pad.place.t_ns = viewed_at(95);

    FlightView fixless = at_pad;
    fixless.place.t_ns = viewed_at(1.5);
    FlightView unsure = view_of(Phase::under_main, 70, 160, -6.1);
    unsure.main_out_ns = viewed_at(60);
    unsure.t_landing_ns = unsure.t_ns;
    LandingPrediction anywhere;
    anywhere.probability = 1;
    anywhere.east_m = anywhere.north_m = 10;
    anywhere.semi_major_m = 2450;
    anywhere.at_ns = unsure.t_ns + seconds_to_ns(26.2);
    unsure.landing[unsure.likeliest] = anywhere;

    struct Case {
        FlightView view;
        const Event* alert;
        Level level;
        std::string text;
    };
    const std::vector<Case> table{
        {nothing, nullptr, Level::note, "No data yet."},
        {view_of(Phase::on_rail, 5), nullptr, Level::note, "On the rail. Liftoff not seen."},
        {view_of(Phase::on_rail, 5), &advisory, Level::note, "On the rail. Liftoff not seen."},
        {view_of(Phase::on_rail, 5), &frozen, Level::caution,
         "Barometer frozen, ignored. On the rail. Liftoff not seen."},
        {lying, nullptr, Level::note, "On the stand. No charge seen."},
        {tested, nullptr, Level::note, "On the stand. 2 charges seen."},
        {view_of(Phase::under_thrust, 2, 959.4, 154.3), nullptr, Level::note,
         "Under thrust. 959 m AGL, climbing 154 m/s."},
        {coasting_to_apogee(), nullptr, Level::note, "Coasting. Apogee about 1107 m in 5 s."},
        {climbing, nullptr, Level::note, "Coasting. 959 m AGL, climbing 54 m/s."},
        {top, nullptr, Level::note, "Past apogee of 1108 m. Now at 1108 m, falling 2 m/s. Drogue due."},
        {under_drogue(), nullptr, Level::note, "Under drogue. 612 m, falling 24 m/s. Main due in 18 s."},
        {under_drogue(), &frozen, Level::caution,
         "Barometer frozen, ignored. Under drogue. 612 m, falling 24 m/s. Main due in 18 s."},
        // A phone has three lines, of some 100 letters: behind a long alert only what is now has room.
        {under_drogue(), &slow, Level::caution,
         "This computer is too slow: estimates 1.3 s behind, no predictions. Under drogue. 612 m, falling 24 m/s."},
        {view_of(Phase::under_thrust, 2, 959.4, 154.3), &slow, Level::caution,
         "This computer is too slow: estimates 1.3 s behind, no predictions. Under thrust. 959 m AGL."},
        {silent, &slow, Level::caution,
         "This computer is too slow: estimates 1.3 s behind, no predictions. No signal for 4 s."},
        // Of a longer one its head says enough there; the list of alerts has all of it.
        {under_drogue(), &lost, Level::caution,
         "Link radio: lost. Under drogue. 612 m, falling 24 m/s. Main due in 18 s."},
        {view_of(Phase::on_rail, 5), &noise, Level::caution,
         "Link radio: no good frame in 4000 bytes over 10 s. It looks like noise. On the rail. Liftoff not seen."},
        {coasting_to_apogee(), &stuck, Level::caution,
         "Barometer stuck while the accelerometer shows a climb. Coasting. Apogee about 1107 m in 5 s."},
        {long_presumed, &slow, Level::caution,
         "This computer is too slow: estimates 1.3 s behind, no predictions. Presumed down, no signal for 2 min. Last "
         "seen 110 m from the pad at 115°."},
        {unseen_liftoff, nullptr, Level::note,
         "Under drogue. 612 m, falling 24 m/s. Main due in 18 s. Liftoff not seen."},
        {main, nullptr, Level::note, "Under main. 95 m, falling 6 m/s."},
        {falling_without_parachute(), &no_parachute, Level::warning,
         "No parachute seen. 550 m, falling 93 m/s, impact in 5 s, 340 m at 245°. Heads up."},
        {silent, nullptr, Level::note, "No signal for 4 s. Last 612 m, falling 24 m/s, 210 m from the pad at 95°."},
        {rail_silent, nullptr, Level::note, "No signal for 10 s. Last on the rail."},
        {down(95), nullptr, Level::note, "Down 114 m from the pad at 116°. Apogee 1108 m."},
        {down(85), nullptr, Level::note, "Down. Last seen 110 m from the pad at 115°. Apogee 1108 m."},
        {nowhere, nullptr, Level::note, "Down. Apogee 1108 m."},
        {fixless, nullptr, Level::note, "Down. No fix since liftoff. Apogee 1108 m."},
        {unsure, nullptr, Level::note, "Under main. 160 m, falling 6 m/s. Down in 26 s, within 2000 m of the pad."},
        {at_pad, nullptr, Level::note, "Down within 5 m of the pad. Apogee 1108 m."},
        {presumed, nullptr, Level::note, "Presumed down. Last seen 110 m from the pad at 115°. Apogee 1108 m."},
        {long_presumed, nullptr, Level::note,
         "Presumed down, no signal for 2 min. Last seen 110 m from the pad at 115°. Apogee 1108 m."},
    };
    for (const Case& each : table) {
        const EstimateEvent said = said_of(each.view, each.alert);
        CHECK(said.text == each.text);
        CHECK(said.level == each.level);
        CHECK(said.values.front().name == "form");
    }
}

TEST_CASE("a fall without a parachute that is heard no more is counted down, then said in the past") {
    const Vehicle vehicle = parachute_vehicle();
    DeploymentWatch deployment(vehicle, sea_level_site());
    Sentence sentence(vehicle);
    const Event warning =
        alert_of(EventId::impact_expected, Level::warning, "test/descent/impact_expected", "Impact in about 9 s");
    std::vector<Condition> conditions;
    std::string text;
    const auto at = [&](FlightView view, double t_s, bool alerted) {
        view.t_ns = viewed_at(t_s);
        conditions.clear();
        deployment.judge(view, conditions);
        if (const auto said = sentence.next(view, deployment, alerted ? &warning : nullptr)) text = said->text;
        return !conditions.empty();
    };
    // Heard until 26 s, ten times a second; with 550 m left, no drag: (√(93² + 2 · 9.806 · 550) − 93) / 9.806 = 4.72 s.
    FlightView view = falling_without_parachute();
    for (int k = -20; k <= 0; ++k) {
        FlightView heard = falling_without_parachute();
        heard.t_received_ns = heard.t_measured_ns = viewed_at(26 + 0.1 * k);
        heard.altitude_m = {550.4 - 93.2 * 0.1 * k, 1.0, heard.t_measured_ns};
        heard.vertical_speed_mps = {-93.2, 0.5, heard.t_measured_ns};
        heard.speed_of_mps[static_cast<std::size_t>(MotionSource::navigation)] = heard.vertical_speed_mps;
        heard.t_landing_ns = viewed_at(26 + 0.1 * k);
        heard.landing[estimate::LandingCaseKind::no_parachute]->at_ns = viewed_at(31);
        view = heard;
        at(view, 26 + 0.1 * k, true);
    }
    CHECK(at(view, 29.5, true));
    CHECK(text == "No parachute seen. No signal for 4 s, impact in 2 s, 340 m at 245°. Heads up.");
    CHECK(at(view, 31.5, true));
    CHECK(text == "No parachute seen. No signal for 6 s, impact now, 340 m at 245°. Heads up.");
    CHECK_FALSE(at(view, 36, false)); // 4.72 s · 1.5 + 2 s are over
    CHECK(text == "No signal for 10 s. No parachute seen, impact expected 5 s ago, 340 m at 245°.");
    view.phase = Phase::presumed_down;
    CHECK_FALSE(at(view, 41, false));
    CHECK(text == "Presumed down without a parachute 10 s ago, 340 m from the pad at 245°.");
    CHECK_FALSE(at(view, 160, false));
    CHECK(text == "Presumed down without a parachute 2 min ago, 340 m from the pad at 245°.");
    // Heard again, it is not presumed any more.
    view.phase = Phase::falling;
    view.t_received_ns = viewed_at(161);
    at(view, 161.1, false);
    CHECK_FALSE(deployment.past_impact());
}

TEST_CASE("a vehicle that is not a rocket is said to report, with what it has") {
    Vehicle boat;
    boat.name = "boat";
    FlightView view = view_of(Phase::on_rail, 5);
    view.flies = false;
    CHECK(said_of(view, nullptr, boat).text == "Reporting.");
    view.engine_rpm = 2387;
    view.place = polar(view, 412, 116);
    view.place.velocity_east_mps = 3;
    view.place.velocity_north_mps = 0;
    CHECK(said_of(view, nullptr, boat).text ==
          "Reporting. 412 m from the pad at 116°, moving 3 m/s. Engine at 2400 rev/min.");
    FlightView station = view_of(Phase::on_rail, 5);
    station.flies = false;
    station.wind_mps = 3.2;
    station.wind_from_deg = 247;
    CHECK(said_of(station, nullptr, boat).text == "Reporting. Wind 3 m/s from 250°.");
}

TEST_CASE("figures are rounded to their sigma, and altitude never falls below the ground") {
    FlightView view = view_of(Phase::under_thrust, 2, 1107.9, 54.6);
    view.altitude_m.sigma = 21;
    view.vertical_speed_mps.sigma = 12;
    CHECK(said_of(view).text == "Under thrust. 1110 m AGL, climbing 50 m/s.");
    FlightView low = view_of(Phase::under_main, 80, -3.4, -6.0);
    low.drogue_out_ns = viewed_at(15);
    low.main_out_ns = viewed_at(60);
    CHECK(said_of(low).text == "Under main. 0 m, falling 6 m/s.");
}

TEST_CASE(
    "a form or a level changes at once, figures once a second or oftener at speed, and rounding does not flicker") {
    const Vehicle vehicle = parachute_vehicle();
    DeploymentWatch deployment(vehicle, sea_level_site());
    Sentence sentence(vehicle);
    const auto next = [&](const FlightView& view, const Event* alert = nullptr) {
        std::vector<Condition> conditions;
        deployment.judge(view, conditions);
        return sentence.next(view, deployment, alert);
    };
    const Event frozen =
        alert_of(EventId::sensor_frozen, Level::caution, "test/sensor/static_pressure/frozen", "Frozen");
    REQUIRE(next(view_of(Phase::on_rail, 0)));
    CHECK_FALSE(next(view_of(Phase::on_rail, 5)));
    REQUIRE(next(view_of(Phase::under_thrust, 10, 5.0, 40.0)));
    CHECK_FALSE(next(view_of(Phase::under_thrust, 10.2, 30.0, 60.0))); // figures alone
    CHECK(next(view_of(Phase::under_thrust, 10.25, 33.0, 66.0), &frozen));
    CHECK(next(view_of(Phase::under_thrust, 10.3, 33.0, 66.0)));
    CHECK_FALSE(next(view_of(Phase::under_thrust, 10.5, 53.0, 66.0)));
    CHECK(next(view_of(Phase::under_thrust, 10.6, 53.0, 66.0)));
    CHECK(next(view_of(Phase::under_thrust, 11.6, 133.0, 8.0))); // slow again
    CHECK_FALSE(next(view_of(Phase::under_thrust, 12.5, 140.0, 8.0)));
    CHECK(next(view_of(Phase::under_thrust, 12.6, 141.0, 8.0)));
    // At rest a place wanders about half a metre.
    FlightView rests = down(95);
    rests.t_ns = viewed_at(200);
    REQUIRE(next(rests));
    for (int k = 0; k < 60; ++k) {
        rests.t_ns += kNsPerS;
        rests.place = polar(rests, 114.5 + 0.25 * std::sin(k), 116.2 + 0.2 * std::cos(k));
        rests.place.t_ns = rests.t_ns;
        CHECK_FALSE(next(rests));
    }
}
