// Pulses against closed forms (a half-sine of peak A and length T has the integral 2 A T / pi and a 10-90 % rise time
// of (asin 0.9 - asin 0.1) T / pi), derived figures against a simulated flight's truth, engine hours against a clock.
#include <catch2/catch.hpp>

#include "server/estimate/sensors/engine_hours.hpp"
#include "server/estimate/sensors/pulse_detector.hpp"
#include "tests/estimate/chain/flight_harness.hpp"
#include "tests/estimate/station_time.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;

namespace {

double half_sine(double t_s, double begin_s, double length_s, double peak) {
    return t_s > begin_s && t_s < begin_s + length_s ? peak * std::sin(M_PI * (t_s - begin_s) / length_s) : 0.0;
}

} // namespace

TEST_CASE("a half-sine shock is measured as what it is") {
    for (const double length_s : {0.010, 0.020, 0.060}) {
        PulseDetector detector(0.3, 5.0);
        std::vector<Pulse> found;
        for (int i = 0; i < 4000; ++i) {
            const double t_s = 0.0005 * i;
            const Eigen::Vector3d force(9.8 - half_sine(t_s, 1.0, length_s, 250.0), 0.0, 0.0);
            if (const auto pulse = detector.force(at(t_s), force)) found.push_back(*pulse);
        }
        INFO("length " << length_s);
        REQUIRE(found.size() == 1);
        const Pulse& pulse = found[0];
        const double inside = std::asin(0.1) / M_PI * length_s; // the pulse passes a tenth of its peak here
        CHECK(pulse.peak == Approx(250.0).epsilon(0.01));
        CHECK(pulse.axial_peak == Approx(-250.0).epsilon(0.01));
        CHECK(pulse.integral == Approx(2.0 * 250.0 * length_s / M_PI).epsilon(0.01));
        CHECK(pulse.rise_s == Approx((std::asin(0.9) - std::asin(0.1)) / M_PI * length_s).margin(2e-4));
        CHECK(pulse.duration_s == Approx(length_s - 2.0 * inside).margin(2e-4));
        CHECK(seconds_between(at(1.0 + inside), pulse.t_ns) == Approx(0.0).margin(2e-4));
    }
}

TEST_CASE("a pressure pulse is found on the pad and in a fast climb, a climb is not one") {
    for (const double climb_pa_s : {0.0, -1800.0}) {
        PulseDetector detector(0.3, 5.0);
        std::vector<Pulse> found;
        for (int i = 0; i < 200; ++i) {
            const double t_s = 0.02 * i;
            const double pulse_pa = t_s >= 2.0 ? 5000.0 * std::exp(-(t_s - 2.0) / 0.1) : 0.0;
            if (const auto pulse = detector.pressure(at(t_s), 90000.0 + climb_pa_s * t_s + pulse_pa))
                found.push_back(*pulse);
        }
        REQUIRE(found.size() == 1);
        CHECK(found[0].peak == Approx(5000.0).epsilon(0.01));
        CHECK(found[0].integral ==
              Approx(500.0).epsilon(0.15)); // 5000 Pa times 0.1 s; 20 ms sampling of a sudden front
        CHECK(seconds_between(at(2.0), found[0].t_ns) == Approx(-0.01).margin(0.011));
    }
}

TEST_CASE("thrust is not a shock") {
    PulseDetector detector(0.3, 5.0);
    for (int i = 0; i < 1000; ++i) {
        const double t_s = 0.005 * i;
        const double force = t_s > 1.0 && t_s < 2.8 ? 110.0 : t_s < 1.0 ? 9.8 : -15.0;
        const auto pulse = detector.force(at(t_s), {force, 0, 0});
        CHECK(!pulse);
    }
}

TEST_CASE("derived figures of a flight agree with its truth") {
    const Flight flight = make_flight("nominal", 2, true);
    LoneFlight state(flight.scenario.vehicle, flight.scenario.site, true, true);
    Collector out;
    fly(flight, {}, 2, state, out);
    const DerivedFigures& figures = state.picture().figures;
    const auto& events = flight.truth.events;
    double fastest = 0, mach = 0, q = 0, roll = 0;
    double drogue_m = 0, main_m = 0;
    for (const auto& s : flight.truth.samples) {
        fastest = std::max(fastest, s.velocity_enu_mps.z());
        mach = std::max(mach, s.mach);
        q = std::max(q, s.dynamic_pressure_pa);
        if (s.t_s > events.liftoff_s && s.t_s < events.apogee_s)
            roll = std::max(roll, std::fabs(s.rate_body_radps.x()));
        if (s.t_s <= events.ejections.at(0).t_s + 2.0) drogue_m = s.position_enu_m.z();
        if (s.t_s <= events.ejections.at(1).t_s + 2.0) main_m = s.position_enu_m.z();
    }
    const double drogue_s = events.ejections[1].t_s - events.ejections[0].t_s - 2.0;
    const double main_s = events.touchdown_s - events.ejections[1].t_s - 2.0;
    CHECK(figures.altitude_m.value == Approx(events.apogee_m).epsilon(0.02));
    CHECK(figures.altitude_m.t_s == Approx(events.apogee_s - events.liftoff_s).margin(0.3));
    CHECK(figures.vertical_speed_mps.value == Approx(fastest).epsilon(0.03));
    CHECK(figures.mach.value == Approx(mach).epsilon(0.05));
    CHECK(figures.dynamic_pressure_pa.value == Approx(q).epsilon(0.10));
    CHECK(figures.burn_time_s == Approx(events.burnout_s - events.liftoff_s).margin(0.05));
    CHECK(figures.flight_time_s == Approx(events.touchdown_s - events.liftoff_s).margin(0.5));
    CHECK(figures.drogue_rate_mps == Approx((drogue_m - main_m) / drogue_s).epsilon(0.15));
    CHECK(figures.main_rate_mps == Approx(main_m / main_s).epsilon(0.1));
    CHECK(figures.roll_rate_radps.value > 0.5 * roll);
}

TEST_CASE("engine hours count running time only and go on from a stored total") {
    EngineHours hours(300.0, 7200.0);
    const auto feed = [&](double from_s, double to_s, double rpm) {
        for (double t_s = from_s; t_s < to_s; t_s += 0.5) {
            hours.sample({at(t_s), rpm, 350.0 + 0.1 * t_s, 300000.0});
            hours.sample({at(t_s), 5000.0, 0.0, 0.0}); // repeated time: ignored
        }
    };
    feed(0, 100, 0.0);
    CHECK(!hours.running());
    feed(100, 400, 1500.0);
    CHECK(hours.running());
    feed(400, 500, 295.0); // between the two thresholds: still running
    feed(500, 600, 100.0);
    feed(10000, 10100, 2000.0); // after a long gap: the gap is not counted
    CHECK(hours.total_s() - 7200.0 == Approx(400.0 + 99.5).margin(0.6));
    CHECK(hours.figures().temperature_k.per_s == Approx(0.1).epsilon(1e-6)); // K/s
    CHECK(hours.figures().oil_pressure_pa.per_s == Approx(0.0).margin(1e-6));
}
