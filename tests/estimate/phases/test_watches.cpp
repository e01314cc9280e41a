// Each watch alone, on a few seconds of made-up samples whose truth is their formula: what it finds, when, and what it
// leaves alone. And the rules that call the watches, against the drawing of the phases.
#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <set>
#include <sstream>
#include <string>
#include <tuple>
#include <utility>

#include <catch2/catch.hpp>

#include "server/estimate/phases/phase_detector.hpp"
#include "shared/time.hpp"
#include "tests/estimate/station_time.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;

namespace {

constexpr double kG = kGravityStandard_mps2;

double time_s(const MaybeFound& found) {
    return seconds_between(kStart_ns, found->when.t_ns);
}

/// What the sensors show, second by second from 0.
struct Course {
    std::function<double(double)> axial_mps2 = {}; ///< 200 Hz; none without it
    std::function<double(double)> height_m = {};   ///< 25 Hz
    std::function<double(double)> speed_mps = {};  ///< 50 Hz, by the filter
    double accel_mps2 = 0;                         ///< of the filter
    bool by_fix = false;                           ///< heights are a receiver's, 5 Hz
    Phase phase = Phase::on_rail;
    double began_s = 0;
    double found_s = 0;
    std::optional<double> apogee_s = {};
    int parachutes = 2;
};

using Look = std::function<MaybeFound(const Sight&)>;

/// Shows the course, and calls each look where the detector would, until one finds something or the course ends.
struct Watched {
    explicit Watched(const Course& shown)
        : course(shown), evidence({.accel_noise_mps2 = 0.1, .parachutes = shown.parachutes}) {}

    [[nodiscard]] Sight sight() const {
        return {evidence, course.phase, at(course.began_s), at(course.found_s),
                course.apogee_s ? std::optional(at(*course.apogee_s)) : std::nullopt};
    }
    MaybeFound until(double end_s, const Look& by_force, const Look& by_height = {}, const Look& by_speed = {}) {
        for (; step * 0.005 < end_s; ++step) {
            const double t_s = step * 0.005;
            MaybeFound found;
            if (course.axial_mps2) {
                const double axial_mps2 = course.axial_mps2(t_s);
                evidence.add(Force{at(t_s), axial_mps2, std::fabs(axial_mps2), 0.0});
                evidence.look_for_shock(false);
                if (by_force) found = by_force(sight());
            }
            if (!found && course.height_m && step % (course.by_fix ? 40 : 8) == 0) {
                evidence.add(HeightPoint{at(t_s), course.height_m(t_s), course.by_fix ? 3.0 : 0.3, course.by_fix});
                if (by_height) found = by_height(sight());
            }
            if (!found && course.speed_mps && step % 4 == 0) {
                evidence.add(VerticalEstimate{.t_ns = at(t_s),
                                              .valid = true,
                                              .altitude_m = course.height_m ? course.height_m(t_s) : 0.0,
                                              .altitude_sigma_m = 1.0,
                                              .vertical_speed_mps = course.speed_mps(t_s),
                                              .vertical_speed_sigma_mps = 0.2,
                                              .acceleration_mps2 = course.accel_mps2});
                if (by_speed) found = by_speed(sight());
            }
            if (found) return found;
        }
        return std::nullopt;
    }

    Course course;
    FlightEvidence evidence;
    int step = 0;
};

/// Uniform motion from rest at `from_s`.
double risen_m(double t_s, double from_s, double accel_mps2) {
    return t_s < from_s ? 0.0 : 0.5 * accel_mps2 * (t_s - from_s) * (t_s - from_s);
}

} // namespace

TEST_CASE("LiftoffWatch finds thrust from an upright rest by either sensor, and no push") {
    const auto thrust = [](double t_s) { return t_s < 5.0 ? kG : kG + 40.0; };
    const auto climb = [](double t_s) { return risen_m(t_s, 5.0, 40.0); };
    {
        Watched scene({.axial_mps2 = thrust, .height_m = climb});
        LiftoffWatch watch(scene.evidence.settings());
        const auto found = scene.until(8.0, [&](const Sight& s) { return watch.force(s); });
        REQUIRE(found);
        CHECK(time_s(found) == Approx(5.0).margin(0.01));
        CHECK_FALSE(found->burnout);
    }
    {
        Watched scene({.height_m = climb});
        LiftoffWatch watch(scene.evidence.settings());
        const auto found = scene.until(8.0, {}, [&](const Sight& s) { return watch.height(s); });
        REQUIRE(found);
        CHECK(time_s(found) == Approx(5.0).margin(0.1));
    }
    {
        Watched scene({.axial_mps2 = [](double t_s) { return t_s > 5.0 && t_s < 5.15 ? kG + 40.0 : kG; },
                       .height_m = [](double) { return 0.0; }});
        LiftoffWatch watch(scene.evidence.settings());
        CHECK_FALSE(scene.until(8.0, [&](const Sight& s) { return watch.force(s); }));
    }
}

TEST_CASE("LiftoffWatch joins no flight by a third of a second of heights behind a fade") {
    // Eight heights of a simulated pad, scattered by 0.6 m: a line through them falls at 3 m/s.
    constexpr std::array kBehind_m = {-14.6, -14.8, -13.6, -15.3, -14.5, -14.8, -14.1, -16.2};
    FlightEvidence evidence({});
    const LiftoffWatch watch({}, 0.0);
    const auto see = [&](double t_s, double height_m) {
        evidence.add(HeightPoint{at(t_s), height_m, 0.58});
        INFO("at " << t_s << " s");
        CHECK_FALSE(watch.joined({evidence, Phase::on_rail, at(0), at(0), std::nullopt}));
    };
    for (int k = 0; k < 25; ++k) see(0.04 * k, -14.6);
    for (std::size_t k = 0; k < kBehind_m.size(); ++k) see(4.0 + 0.04 * static_cast<double>(k), kBehind_m.at(k));
    for (int k = 0; k < 100; ++k) see(4.32 + 0.04 * k, -14.6);
}

TEST_CASE("LiftoffWatch joins no flight where the heights of a pad are others behind a fade") {
    // The pad's pressure is found again: a step of six metres.
    FlightEvidence evidence({});
    const LiftoffWatch watch({}, 0.0);
    for (double t_s = 0; t_s < 12; t_s += 0.04) {
        if (t_s > 2.3 && t_s < 4) continue;
        evidence.add(HeightPoint{at(t_s), t_s < 4 ? 6.0 : 0.0, 0.6});
        INFO("at " << t_s << " s");
        CHECK_FALSE(watch.joined({evidence, Phase::on_rail, at(0), at(0), std::nullopt}));
    }
}

TEST_CASE("LiftoffWatch joins a descent that it hears through fades") {
    FlightEvidence evidence({});
    const LiftoffWatch watch({}, 0.0);
    MaybeFound found;
    for (int k = 0; k < 250 && !found; ++k) {
        const double t_s = 0.04 * k;
        if (std::fmod(t_s, 1.5) < 0.5) continue;
        evidence.add(HeightPoint{at(t_s), 400.0 - 6.0 * t_s, 0.6});
        found = watch.joined({evidence, Phase::on_rail, at(0), at(0), std::nullopt});
    }
    REQUIRE(found);
    CHECK(found->to == Phase::under_main);
}

TEST_CASE("LiftoffWatch withdraws a liftoff after which the vehicle stands where it stood") {
    for (const double height_m : {0.0, 60.0}) {
        Watched scene({.axial_mps2 = [](double) { return kG; },
                       .height_m = [=](double) { return height_m; },
                       .phase = Phase::under_thrust,
                       .began_s = 1.0,
                       .found_s = 1.3});
        LiftoffWatch watch(scene.evidence.settings());
        const auto found = scene.until(6.0, [&](const Sight& s) { return watch.withdrawal(s); });
        CHECK(found.has_value() == (height_m == 0.0));
    }
}

TEST_CASE("BurnoutWatch dates the end of thrust by forces, also those it sees late, and by heights") {
    const auto force = [](double t_s) { return t_s < 2.0 ? 50.0 : -5.0; };
    const auto height = [](double t_s) { // 40 m/s2 up, then 15 m/s2 of gravity and drag
        const double coast_s = std::max(0.0, t_s - 2.0);
        return t_s < 2.0 ? risen_m(t_s, 0.0, 40.0) : 80.0 + 80.0 * coast_s - 7.5 * coast_s * coast_s;
    };
    const Course course{.axial_mps2 = force, .height_m = height, .phase = Phase::under_thrust};
    {
        Watched scene(course);
        BurnoutWatch watch;
        const auto found = scene.until(4.0, [&](const Sight& s) { return watch.force(s); });
        REQUIRE(found);
        CHECK(time_s(found) == Approx(2.0).margin(0.01));
    }
    {
        Watched scene(course);
        BurnoutWatch watch;
        CHECK_FALSE(scene.until(1.9, [&](const Sight& s) { return watch.past_forces(s); }));
        CHECK_FALSE(scene.until(2.5, {}));
        const auto found = BurnoutWatch().past_forces(scene.sight());
        REQUIRE(found);
        CHECK(time_s(found) == Approx(2.0).margin(0.01));
    }
    {
        Course blind = course;
        blind.axial_mps2 = {};
        blind.speed_mps = [](double t_s) { return t_s < 2.0 ? 40.0 * t_s : 80.0 - 15.0 * (t_s - 2.0); };
        blind.accel_mps2 = -15.0; // as the filter has it after the end; before, nobody asks
        Watched scene(blind);
        BurnoutWatch watch;
        CHECK_FALSE(scene.until(2.0, {}));
        const auto found = scene.until(5.0, {}, [&](const Sight& s) { return watch.height(s); });
        REQUIRE(found);
        CHECK(time_s(found) == Approx(2.0).margin(0.3));
    }
}

TEST_CASE("ApogeeWatch finds the top by speed, by height and by weight") {
    const auto speed = [](double t_s) { return kG * (3.0 - t_s); };
    const auto height = [](double t_s) { return 300.0 - 0.5 * kG * (t_s - 3.0) * (t_s - 3.0); };
    const Course course{.height_m = height, .speed_mps = speed, .phase = Phase::coasting};
    for (const Phase phase : {Phase::coasting, Phase::under_thrust}) {
        Watched scene(course);
        scene.course.phase = phase;
        ApogeeWatch watch;
        const auto found = scene.until(8.0, {}, {}, [&](const Sight& s) { return watch.speed(s); });
        REQUIRE(found);
        CHECK(time_s(found) == Approx(3.0).margin(0.01));
        CHECK(found->burnout.has_value() == (phase == Phase::under_thrust));
    }
    {
        Watched scene(course);
        ApogeeWatch watch;
        const auto found = scene.until(8.0, {}, [&](const Sight& s) { return watch.height(s); });
        REQUIRE(found);
        CHECK(time_s(found) == Approx(3.0).margin(0.1));
        CHECK(watch.ceiling_m(scene.evidence) >= 300.0);
    }
    for (const double felt_mps2 : {kG, 0.0}) { // hanging on a parachute, or still falling freely
        Watched scene({.axial_mps2 = [=](double) { return felt_mps2; }, .phase = Phase::coasting});
        scene.evidence.add(VerticalEstimate{.t_ns = at(0), .valid = true, .vertical_speed_sigma_mps = 20.0});
        ApogeeWatch watch;
        const auto found = scene.until(8.0, [&](const Sight& s) { return watch.weight(s); });
        CHECK(found.has_value() == (felt_mps2 == kG));
    }
}

TEST_CASE("DescentWatch names the first parachute by how many there are") {
    const auto shock = [](double t_s) { return t_s > 2.0 && t_s < 2.05 ? 120.0 : 1.0; };
    for (const int parachutes : {1, 2}) {
        Watched scene({.axial_mps2 = shock, .phase = Phase::falling, .apogee_s = 1.0, .parachutes = parachutes});
        DescentWatch watch;
        MaybeFound drogue;
        const auto found = scene.until(4.0, [&](const Sight& s) {
            drogue = watch.drogue(s);
            return drogue ? drogue : watch.only_main(s);
        });
        REQUIRE(found);
        CHECK(time_s(found) == Approx(2.0).margin(0.01));
        CHECK(drogue.has_value() == (parachutes == 2));
    }
}

TEST_CASE("DescentWatch finds the main by the slower descent or, without a barometer, by its shock") {
    const auto slows = [](double t_s) { // from 25 m/s to 6 m/s in one second, as a parachute fills
        const double filling_s = std::clamp(t_s - 8.0, 0.0, 1.0);
        return 500.0 - 25.0 * t_s + 9.5 * filling_s * filling_s + 19.0 * std::max(0.0, t_s - 9.0);
    };
    {
        Watched scene({.height_m = slows, .phase = Phase::under_drogue, .apogee_s = -2.0});
        DescentWatch watch;
        const auto found = scene.until(12.0, {}, [&](const Sight& s) { return watch.main(s); });
        REQUIRE(found);
        CHECK(time_s(found) == Approx(8.0).margin(0.5));
    }
    {
        Watched scene({.height_m = [](double t_s) { return 500.0 - 25.0 * t_s; }, .phase = Phase::under_drogue});
        DescentWatch watch;
        CHECK_FALSE(scene.until(12.0, {}, [&](const Sight& s) { return watch.main(s); }));
    }
    {
        Watched scene({.axial_mps2 = [](double t_s) { return t_s > 8.0 && t_s < 8.05 ? 120.0 : kG; },
                       .phase = Phase::under_drogue});
        DescentWatch watch;
        const auto found = scene.until(12.0, [&](const Sight& s) { return watch.main_by_shock(s); });
        REQUIRE(found);
        CHECK(time_s(found) == Approx(8.0).margin(0.01));
    }
}

TEST_CASE("DescentWatch finds the main by the speed that fixes show, where their heights hide it") {
    const auto filling_s = [](double t_s) { return std::clamp(t_s - 8.0, 0.0, 1.0); };
    const auto speed_mps = [&](double t_s) { return -16.0 + 9.5 * filling_s(t_s); };
    const auto height_m = [&](double t_s) { // off by 4 m up and down, fix by fix
        const double fallen_m = 16.0 * t_s - 4.75 * std::pow(filling_s(t_s), 2) - 9.5 * std::max(0.0, t_s - 9.0);
        return 500.0 - fallen_m + (static_cast<int>(std::lround(t_s / 0.2)) % 2 == 0 ? 4.0 : -4.0);
    };
    Watched scene({.height_m = height_m, .speed_mps = speed_mps, .by_fix = true, .phase = Phase::under_drogue});
    DescentWatch watch;
    CHECK_FALSE(scene.until(
        8.0, {}, [&](const Sight& s) { return watch.main(s); }));
    const auto found = scene.until(12.0, {}, [&](const Sight& s) { return watch.main(s); });
    REQUIRE(found);
    CHECK(time_s(found) == Approx(8.0).margin(0.5));
    CHECK(scene.step * 0.005 < 9.8);

    Watched steady({.height_m = height_m, // no parachute, the same heights
                    .speed_mps = [](double) { return -16.0; },
                    .by_fix = true,
                    .phase = Phase::under_drogue});
    DescentWatch other;
    CHECK_FALSE(steady.until(12.0, {}, [&](const Sight& s) { return other.main(s); }));
}

TEST_CASE("TouchdownWatch dates rest to where the descent meets the ground, and finds none while descending") {
    const auto height = [](double t_s) { return std::max(0.0, 60.0 - 6.0 * t_s); };
    Watched scene({.height_m = height, .phase = Phase::under_main, .apogee_s = -60.0});
    TouchdownWatch watch;
    const Look look = [&](const Sight& s) { return watch.rest(s); };
    CHECK_FALSE(scene.until(10.0, {}, look));
    const auto found = scene.until(20.0, {}, look);
    REQUIRE(found);
    CHECK(time_s(found) == Approx(10.0).margin(0.3));
}

TEST_CASE("TouchdownWatch takes no bay that tips over behind a fade for the impact in it") {
    const auto heard = [](double t_s) { return t_s < 8.0 || t_s > 10.35; };
    const auto height = [&](double t_s) { return heard(t_s) ? std::max(0.0, 60.0 - 6.0 * t_s) : kNaN; };
    const auto axial = [&](double t_s) { return !heard(t_s) ? kNaN : t_s > 10.45 && t_s < 10.47 ? 8 * kG : kG; };
    Watched scene({.axial_mps2 = axial, .height_m = height, .phase = Phase::under_main, .apogee_s = -60.0});
    TouchdownWatch watch;
    const auto found = scene.until(20.0, {}, [&](const Sight& s) { return watch.rest(s); });
    REQUIRE(found);
    CHECK(found->when.sigma_s > 0.05);
    CHECK(time_s(found) == Approx(10.0).margin(3 * found->when.sigma_s));
}

TEST_CASE("TouchdownWatch keeps an impact that was felt, though a packet is lost where it was expected") {
    // The last second falls more slowly than the line before it, which meets the ground at about 10.1 s.
    const auto height = [](double t_s) { return t_s < 9.0 ? 60.0 - 6.0 * t_s : std::max(0.0, 42.0 - 4.0 * t_s); };
    const auto axial = [](double t_s) {
        return t_s > 10.04 && t_s < 10.14 ? kNaN : t_s > 10.5 && t_s < 10.52 ? 8 * kG : kG;
    };
    Watched scene({.axial_mps2 = axial, .height_m = height, .phase = Phase::under_main, .apogee_s = -60.0});
    TouchdownWatch watch;
    const auto found = scene.until(20.0, {}, [&](const Sight& s) { return watch.rest(s); });
    REQUIRE(found);
    CHECK(time_s(found) == Approx(10.5).margin(0.02));
}

TEST_CASE("SilenceWatch presumes down once the vehicle must be, and takes it back at a sample") {
    Watched scene({.height_m = [](double t_s) { return 40.0 - 5.0 * t_s; },
                   .speed_mps = [](double) { return -5.0; },
                   .phase = Phase::under_main,
                   .apogee_s = -60.0});
    scene.until(4.0, {}); // at 20 m, four seconds from the ground
    SilenceWatch watch;
    scene.evidence.pass_time(at(12.0));
    CHECK_FALSE(watch.silent(scene.sight()));
    scene.evidence.pass_time(at(13.5));
    const auto found = watch.silent(scene.sight());
    REQUIRE(found);
    CHECK(time_s(found) == Approx(8.0).margin(0.2));
    CHECK(watch.last_seen().near_ground);
    CHECK(time_s(watch.heard(scene.sight())) == Approx(13.5));
}

TEST_CASE("NextFlightWatch waits for the vehicle to be handled and stood up, or for long rest by height") {
    for (const bool handled : {true, false}) {
        const auto axial = [=](double t_s) { return handled && t_s > 70.0 && t_s < 71.0 ? 20.0 : kG; };
        Watched scene({.axial_mps2 = axial, .phase = Phase::down});
        NextFlightWatch watch;
        const Look look = [&](const Sight& s) { return watch.force(s); };
        CHECK_FALSE(scene.until(71.0 + NextFlightWatch::kStands_s - 0.5, look));
        CHECK(scene.until(71.0 + NextFlightWatch::kStands_s + 0.5, look).has_value() == handled);
    }
    Watched blind({.height_m = [](double) { return 2.0; }, .phase = Phase::down});
    NextFlightWatch watch;
    const Look look = [&](const Sight& s) { return watch.height(s); };
    CHECK_FALSE(blind.until(NextFlightWatch::kRestBlind_s - 1.0, {}, look));
    CHECK(blind.until(NextFlightWatch::kRestBlind_s + 1.0, {}, look));
}

TEST_CASE("the phases are drawn as the rules lead") {
    using Arrow = std::tuple<std::string, std::string, std::string>; // from, found, to
    std::set<Arrow> rules;
    for (const PhaseDetector::Rule& rule : PhaseDetector::rules()) {
        const bool reacquired = rule.finds == EventId::signal_reacquired;
        const std::string to(rule.to ? phase_key(*rule.to) : reacquired ? "before" : "seen");
        rules.insert({std::string(phase_key(rule.from)), std::string(word(rule.finds)), to});
    }
    std::set<Arrow> drawn;
    std::istringstream header(test::read_file(test::source_path("server/estimate/phases/phase_detector.hpp")));
    for (std::string line; std::getline(header, line);) {
        if (line.find("──▶") == std::string::npos) continue;
        std::istringstream words(line);
        std::string slashes, from, dash, found, arrow, to;
        words >> slashes >> from;
        while (words >> dash >> found >> arrow >> to && dash == "──" && arrow == "──▶") {
            drawn.insert({from, found, to.substr(0, to.find(','))});
            from = to;
        }
    }
    CHECK(drawn == rules);
}

TEST_CASE("a charge seen before the apogee that is found after it is as uncertain as their order") {
    // 50 m/s2 for 2 s from 10 s on, then a throw: apogee by the filter 0.3 s behind the charge.
    PhaseDetector detector({});
    const double top_s = 12 + 100 / kG;
    const auto height_m = [&](double t_s) {
        return t_s < 12 ? risen_m(t_s, 10, 50) : 100 + 100 * (t_s - 12) - risen_m(t_s, 12, kG);
    };
    bool fired = false;
    for (int step = 0; step * 0.02 < top_s + 3; ++step) {
        const double t_s = step * 0.02;
        detector.height(HeightPoint{at(t_s), height_m(t_s), 0.3});
        detector.vertical(
            VerticalEstimate{.t_ns = at(t_s),
                             .valid = true,
                             .altitude_m = height_m(t_s),
                             .altitude_sigma_m = 1.0,
                             .vertical_speed_mps = t_s < 12 ? 50 * std::max(0.0, t_s - 10) : kG * (top_s - t_s),
                             .vertical_speed_sigma_mps = 0.2,
                             .acceleration_mps2 = t_s < 12 ? 50 : -kG});
        if (!std::exchange(fired, t_s > top_s - 0.3) && fired) detector.pulse(at(t_s));
        detector.tick(at(t_s));
    }
    const auto found = [&](EventId event) {
        return std::ranges::find(detector.transitions(), event, &Transition::event);
    };
    REQUIRE(found(EventId::drogue_out) != detector.transitions().end());
    CHECK(found(EventId::drogue_out)->t_ns == found(EventId::apogee)->t_ns);
    CHECK(found(EventId::drogue_out)->t_sigma_s == Approx(0.3).margin(0.05));
}
