// What becomes of position when the radio is silent, the vehicle's computer restarts or there never was an attitude:
// simulator truth against the tables a station shows.
#include <algorithm>
#include <cmath>
#include <limits>
#include <random>

#include <catch2/catch.hpp>

#include "server/estimate/navigation/navigation.hpp"
#include "tests/estimate/chain/position_harness.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;
using Eigen::Vector3d;

namespace {

constexpr double kWarmUp_s = 8;

struct Availability {
    int asked = 0, answered = 0;
    double ratio2 = 0; ///< sum of (error / sigma)^2, horizontal, of those answered
    int counted = 0;
};

Vector3d true_position(const sim::Truth& truth, double t_s) {
    const auto at = std::lower_bound(truth.samples.begin(), truth.samples.end(), t_s,
                                     [](const auto& sample, double s) { return sample.t_s < s - 1e-6; });
    return at == truth.samples.end() ? truth.samples.back().position_enu_m : at->position_enu_m;
}

/// Whether the newest row of position, at each tick once fixes are back for a second, is fresh and says where.
Availability availability(const sim::Scenario& scenario, std::uint64_t seed, const Equipment& has) {
    const auto flight = sim::fly_sensors(scenario, seed);
    EstimatorChain chain(scenario.vehicle, scenario.site, has.inputs());
    chain.set_prediction_period(std::numeric_limits<double>::infinity());
    TableKeeper rows(chain);
    Availability out;
    const double from_s = scenario.before_ignition_s - kWarmUp_s;
    fly_chain(
        flight.sensors, scenario.site, has, from_s, flight.truth.events.touchdown_s, chain, rows, [&](double t_s) {
            if (t_s < from_s + 3) return;
            for (const auto& silence : has.silences)
                if (t_s > silence.from_s && t_s < silence.to_s + 1.2) return;
            ++out.asked;
            const auto& table = rows.rows("navigation");
            if (table.empty() || seconds_between(table.back().t_ns, position_ns(t_s)) > 0.3) return;
            const auto value = [&](const char* column) { return rows.value("navigation", table.back(), column); };
            if (!std::isfinite(value("east_m"))) return;
            ++out.answered;
            const Vector3d truth = true_position(flight.truth, seconds_between(kPositionStart_ns, table.back().t_ns));
            out.ratio2 += 0.5 * (std::pow((value("east_m") - truth.x()) / value("east_m_sigma"), 2) +
                                 std::pow((value("north_m") - truth.y()) / value("north_m_sigma"), 2));
            ++out.counted;
        });
    return out;
}

} // namespace

TEST_CASE("Position is there again a second after fixes are, whatever fade or reboot came at whatever moment") {
    const auto nominal = demo_scenario("nominal");
    std::mt19937 random(3);
    Availability all;
    for (int run = 0; run < 16; ++run) {
        const double lasts_s = std::vector<double>{0.5, 1, 2, 3, 5, 10, 1, 5}[static_cast<std::size_t>(run % 8)];
        const double at_s =
            nominal.before_ignition_s + std::uniform_real_distribution<>(0.0, run % 2 == 0 ? 15.0 : 60.0)(random);
        Equipment has;
        has.silences = {{at_s, at_s + lasts_s, run % 8 >= 6 || run >= 8}};
        const Availability one = availability(nominal, 1 + static_cast<std::uint64_t>(run), has);
        INFO("silence of " << lasts_s << " s at T+" << at_s - nominal.before_ignition_s << " s, reboot "
                           << has.silences[0].reboot);
        CHECK(one.answered >= 0.99 * one.asked);
        all.asked += one.asked;
        all.answered += one.answered;
        all.ratio2 += one.ratio2;
        all.counted += one.counted;
    }
    UNSCOPED_INFO("answered " << all.answered << " of " << all.asked << ", (error/sigma)^2 "
                              << all.ratio2 / all.counted);
    CHECK(all.answered >= 0.99 * all.asked);
    CHECK(all.ratio2 / all.counted < 2);
}

TEST_CASE("Without fixes a vehicle goes with the air under its parachute, and lies about where it is said to") {
    const auto nominal = demo_scenario("nominal");
    Equipment has;
    const int one_fix_in = GENERATE(0, 150); // none, or one in half a minute
    has.fix = one_fix_in > 0;
    has.one_fix_in = std::max(1, one_fix_in);
    INFO("one fix in " << one_fix_in);
    double error2_m2 = 0, ratio2 = 0;
    constexpr int kFlights = 8;
    for (std::uint64_t seed = 1; seed <= kFlights; ++seed) {
        const auto flight = sim::fly_sensors(nominal, seed);
        EstimatorChain chain(nominal.vehicle, nominal.site, has.inputs());
        chain.set_prediction_period(std::numeric_limits<double>::infinity());
        TableKeeper rows(chain);
        fly_chain(flight.sensors, nominal.site, has, nominal.before_ignition_s - kWarmUp_s,
                  flight.truth.events.touchdown_s, chain, rows, [](double) {});
        const auto& row = rows.rows("navigation").back();
        const Vector3d truth = true_position(flight.truth, seconds_between(kPositionStart_ns, row.t_ns));
        for (const auto& [column, true_m] : {std::pair{"east_m", truth.x()}, {"north_m", truth.y()}}) {
            const double off_m = rows.value("navigation", row, column) - true_m;
            error2_m2 += off_m * off_m / kFlights;
            ratio2 += std::pow(off_m / rows.value("navigation", row, std::string(column) + "_sigma"), 2) / 2 / kFlights;
        }
    }
    INFO("off by " << std::sqrt(error2_m2) << " m rms, mean (error/sigma)^2 " << ratio2);
    CHECK(std::sqrt(error2_m2) < 150);
    CHECK(ratio2 < 2);
}

TEST_CASE("In a fade of a second rows go on from the last state, with sigmas that hold") {
    const auto nominal = demo_scenario("nominal");
    Availability all;
    for (std::uint64_t seed = 1; seed <= 6; ++seed) {
        const auto flight = sim::fly_sensors(nominal, seed);
        Equipment has;
        for (double at_s = nominal.before_ignition_s + 1; at_s < flight.truth.events.touchdown_s - 2; at_s += 4)
            has.silences.push_back({at_s, at_s + 0.95});
        EstimatorChain chain(nominal.vehicle, nominal.site, has.inputs());
        chain.set_prediction_period(std::numeric_limits<double>::infinity());
        TableKeeper rows(chain);
        fly_chain(flight.sensors, nominal.site, has, nominal.before_ignition_s - kWarmUp_s,
                  flight.truth.events.touchdown_s, chain, rows, [&](double t_s) {
                      const auto silence = std::ranges::find_if(
                          has.silences, [&](const auto& one) { return t_s > one.from_s && t_s < one.to_s; });
                      if (silence == has.silences.end()) return;
                      ++all.asked;
                      const auto& row = rows.rows("navigation").back();
                      all.answered += seconds_between(row.t_ns, position_ns(t_s)) < 0.45;
                      const Vector3d truth = true_position(flight.truth, seconds_between(kPositionStart_ns, row.t_ns));
                      for (const auto& [column, true_m] :
                           {std::pair{"east_m", truth.x()}, {"north_m", truth.y()}, {"up_m", truth.z()}})
                          all.ratio2 += std::pow((rows.value("navigation", row, column) - true_m) /
                                                     rows.value("navigation", row, std::string(column) + "_sigma"),
                                                 2) /
                                        3;
                      ++all.counted;
                  });
    }
    INFO("answered " << all.answered << " of " << all.asked << ", (error/sigma)^2 " << all.ratio2 / all.counted);
    CHECK(all.answered > 0.95 * all.asked);
    CHECK(all.ratio2 / all.counted < 2);
}

TEST_CASE(
    "After a fade over the whole boost nothing holds the vehicle on the rail, though a coast's drag feels like rest") {
    const auto nominal = demo_scenario("nominal");
    for (std::uint64_t seed = 1; seed <= 8; ++seed) {
        const auto flight = sim::fly_sensors(nominal, seed);
        for (const bool fixes : {true, false}) {
            const double back_s = nominal.before_ignition_s + 3.2 + 0.2 * static_cast<double>(seed);
            Equipment has;
            has.fix = fixes;
            has.silences = {{nominal.before_ignition_s - 0.1, back_s}};
            EstimatorChain chain(nominal.vehicle, nominal.site, has.inputs());
            chain.set_prediction_period(std::numeric_limits<double>::infinity());
            TableKeeper rows(chain);
            fly_chain(flight.sensors, nominal.site, has, nominal.before_ignition_s - kWarmUp_s, back_s + 8, chain,
                      rows);
            double worst = 0, worst_at_s = 0, back_after_s = kNaN;
            int known = 0;
            for (const auto& row : rows.rows("navigation")) {
                const double t_s = seconds_between(kPositionStart_ns, row.t_ns);
                const double up_m = rows.value("navigation", row, "up_m");
                if (t_s < back_s || !std::isfinite(up_m)) continue;
                ++known;
                if (!(back_after_s >= 0)) back_after_s = t_s - back_s;
                const double off =
                    std::abs(up_m - true_position(flight.truth, t_s).z()) / rows.value("navigation", row, "up_m_sigma");
                if (off > worst) worst_at_s = t_s - back_s;
                worst = std::max(worst, off);
            }
            INFO("seed " << seed << ", fixes " << fixes << ", worst " << worst_at_s << " s after the fade");
            CHECK(worst < 6);
            CHECK(known > 100); // of 200
            CHECK(back_after_s < 1.5);
        }
    }
}

TEST_CASE("A fade on the rail costs the place on it no more than the next height, and no attitude") {
    const auto nominal = demo_scenario("nominal");
    const auto flight = sim::fly_sensors(nominal, 3);
    for (const bool fixes : {true, false}) {
        Equipment has;
        has.fix = fixes;
        const double back_s = nominal.before_ignition_s - 1.5;
        has.silences = {{back_s - 2, back_s}};
        EstimatorChain chain(nominal.vehicle, nominal.site, has.inputs());
        TableKeeper rows(chain);
        fly_chain(flight.sensors, nominal.site, has, nominal.before_ignition_s - kWarmUp_s, back_s + 1, chain, rows);
        int before = 0, after = 0;
        for (const auto& row : rows.rows("navigation")) {
            const double t_s = seconds_between(kPositionStart_ns, row.t_ns);
            const bool known = std::isfinite(rows.value("navigation", row, "tilt_deg"));
            before += known && t_s < back_s - 2;
            after += known && t_s > back_s + 0.1;
        }
        INFO("fixes " << fixes);
        CHECK(before > 20);
        CHECK(after > 15); // 25 a second
    }
}

TEST_CASE("Carried to the rail with the radio off, a vehicle without fixes aligns there all the same") {
    const auto nominal = demo_scenario("nominal");
    Equipment has;
    has.fix = false;
    EstimatorChain chain(nominal.vehicle, nominal.site, has.inputs());
    TableKeeper rows(chain);
    const double step_s = 0.01;
    std::mt19937 random(5);
    std::normal_distribution<double> noise(0, 0.02);
    for (int k = 0; k < 4000; ++k) {
        const double t_s = step_s * k;
        if (t_s > 10 && t_s < 20) continue; // up a hill of 40 m; 0.12 hPa a metre near the ground
        const double pressure_pa = 87000 - (t_s < 20 ? 0 : 40 * 10.5) + 50 * noise(random);
        chain.imu({position_ns(t_s),
                   {9.8 + noise(random), noise(random), noise(random)},
                   0.01 * Vector3d(noise(random), noise(random), noise(random))},
                  rows);
        if (k % 4 == 0) chain.pressure({position_ns(t_s), pressure_pa, 290}, rows);
        if (k % 10 == 0) chain.tick(position_ns(t_s), rows);
    }
    const auto& last = rows.rows("navigation").back();
    CHECK(static_cast<NavigationMode>(static_cast<int>(rows.value("navigation", last, "mode"))) ==
          NavigationMode::at_rest);
    CHECK(std::isfinite(rows.value("navigation", last, "tilt_deg")));
}

TEST_CASE("A vehicle without inertial sensors has its position, track and look angles from fixes") {
    const auto nominal = demo_scenario("nominal");
    struct Case {
        const char* name;
        bool rocket, pressure;
        int one_fix_in;
    };
    for (const Case& c : {Case{"a tracker in a rocket", true, false, 1},
                          {"a tracker with a barometer", true, true, 1},
                          {"a tracker once a second", true, false, 5},
                          {"a balloon's tracker", false, false, 5},
                          {"a drone's tracker and barometer", false, true, 1}}) {
        sim::Scenario scenario = nominal;
        if (!c.rocket) scenario.vehicle.rocket.reset();
        Equipment has{.accelerometer = false, .gyro = false, .pressure = c.pressure, .fix = true};
        has.one_fix_in = c.one_fix_in;
        const auto flight = sim::fly_sensors(nominal, 5);
        EstimatorChain chain(scenario.vehicle, scenario.site, has.inputs());
        chain.set_prediction_period(std::numeric_limits<double>::infinity());
        TableKeeper rows(chain);
        int asked = 0, answered = 0;
        double worst = 0;
        fly_chain(flight.sensors, scenario.site, has, nominal.before_ignition_s - kWarmUp_s,
                  flight.truth.events.touchdown_s, chain, rows, [&](double t_s) {
                      if (t_s < nominal.before_ignition_s - kWarmUp_s + 3) return;
                      ++asked;
                      const auto& table = rows.rows("navigation");
                      // On the rail it may have left since the last fix, and nothing is said beyond until one is
                      // overdue.
                      const double overdue_s = std::max(0.3, 0.3 * c.one_fix_in);
                      const bool stands = c.rocket && t_s < nominal.before_ignition_s + overdue_s;
                      const double newest_s = stands ? overdue_s : 0.3;
                      if (table.empty() || seconds_between(table.back().t_ns, position_ns(t_s)) > newest_s) return;
                      const auto value = [&](const char* column) {
                          return rows.value("navigation", table.back(), column);
                      };
                      answered += std::isfinite(value("east_m")) && std::isfinite(value("altitude_msl_m"));
                      const Vector3d truth =
                          true_position(flight.truth, seconds_between(kPositionStart_ns, table.back().t_ns));
                      worst = std::max(worst, std::abs(value("east_m") - truth.x()) / value("east_m_sigma"));
                      worst = std::max(worst, std::abs(value("north_m") - truth.y()) / value("north_m_sigma"));
                  });
        INFO(c.name);
        CHECK(answered >= 0.99 * asked);
        CHECK(worst < 6);
        CHECK(rows.rows("look_angles").size() + 1 >= rows.rows("navigation").size()); // the first has no position yet
        CHECK(rows.has("phase") == c.rocket);
        CHECK(rows.has("landing") == c.rocket);
        CHECK(rows.has("vertical"));
        CHECK(rows.has("air") == c.pressure);
        if (!c.rocket) CHECK(rows.rows("vertical").size() > 500);
        const auto mode = static_cast<NavigationMode>(
            static_cast<int>(rows.value("navigation", rows.rows("navigation").back(), "mode")));
        CHECK(mode == NavigationMode::aided_without_attitude);
    }
}

TEST_CASE("A rocket with a tracker and a barometer is given a landing place while it descends") {
    const auto nominal = demo_scenario("nominal");
    const Equipment has{.accelerometer = false, .gyro = false, .pressure = true, .fix = true};
    const auto flight = sim::fly_sensors(nominal, 2);
    EstimatorChain chain(nominal.vehicle, nominal.site, has.inputs());
    chain.set_prediction_period(5);
    TableKeeper rows(chain);
    const double to_s = flight.truth.events.touchdown_s - 5;
    fly_chain(flight.sensors, nominal.site, has, nominal.before_ignition_s - kWarmUp_s, to_s, chain, rows);
    REQUIRE_FALSE(rows.rows("landing").empty());
    const auto& last = rows.rows("landing").back();
    CHECK(seconds_between(last.t_ns, position_ns(to_s)) < 7);
    const Vector3d truth = flight.truth.samples.back().position_enu_m;
    const double off_m = std::hypot(rows.value("landing", last, "nominal_east_m") - truth.x(),
                                    rows.value("landing", last, "nominal_north_m") - truth.y());
    CHECK(off_m < 150);
}

TEST_CASE(
    "After a loss of signal position runs on through a fade and no farther, and landings are not predicted again") {
    struct Case {
        const char* scenario;
        double before_end_s; ///< of the flight
    };
    for (const Case& c : {Case{"nominal", 20.0}, {"nominal", 3.0}, {"ballistic", 1.0}}) {
        const auto scenario = demo_scenario(c.scenario);
        const auto flight = sim::fly_sensors(scenario, 5);
        const double lost_s = flight.truth.events.touchdown_s - c.before_end_s;
        INFO(c.scenario << ", " << c.before_end_s << " s before it is down");
        Equipment has{.accelerometer = false, .gyro = false};
        has.silences = {{lost_s, lost_s + 1000}};
        EstimatorChain chain(scenario.vehicle, scenario.site, has.inputs());
        chain.pause_predictions(true);
        TableKeeper rows(chain);
        fly_chain(flight.sensors, scenario.site, has, scenario.before_ignition_s - kWarmUp_s, lost_s + 60, chain, rows,
                  [&](double t_s) { chain.pause_predictions(t_s < lost_s - 1); });
        double last_place_s = 0, lowest_m = 0;
        for (const auto& row : rows.rows("navigation")) {
            if (!std::isfinite(rows.value("navigation", row, "east_m"))) continue;
            last_place_s = seconds_between(kPositionStart_ns, row.t_ns);
            lowest_m = std::min(lowest_m, rows.value("navigation", row, "up_m"));
        }
        CHECK(last_place_s > lost_s + 2);
        CHECK(last_place_s < lost_s + 11);
        CHECK(lowest_m > -15);
        REQUIRE_FALSE(rows.rows("landing").empty());
        CHECK(seconds_between(position_ns(lost_s), rows.rows("landing").back().t_ns) < 3.5);
        REQUIRE_FALSE(rows.rows("look_angles").empty());
        CHECK(seconds_between(position_ns(lost_s), rows.rows("look_angles").back().t_ns) < 11);
    }
}

TEST_CASE("A barometer alone gives a vehicle that is not a rocket its altitude and vertical speed") {
    const auto nominal = demo_scenario("nominal");
    Vehicle vehicle = nominal.vehicle;
    vehicle.rocket.reset();
    const Equipment has{.accelerometer = false, .gyro = false, .pressure = true, .fix = false};
    EstimatorChain chain(vehicle, nominal.site, has.inputs());
    TableKeeper rows(chain);
    CHECK_FALSE(rows.has("navigation"));
    // Up at 5 m/s after 30 s, as a balloon: by the standard atmosphere near the ground, 0.1 hPa a metre or so.
    const double pad_pa = nominal.site.pad_pressure_pa.value_or(87000);
    for (int k = 0; k < 800; ++k) {
        const double t_s = 0.1 * k, height_m = 5 * std::max(0.0, t_s - 30);
        chain.pressure({position_ns(t_s), pad_pa * std::exp(-height_m / 8400), kNaN}, rows);
        chain.tick(position_ns(t_s), rows);
    }
    const auto& last = rows.rows("vertical").back();
    CHECK(rows.value("vertical", last, "altitude_m") == Approx(250).margin(25));
    CHECK(rows.value("vertical", last, "vertical_speed_mps") == Approx(5).margin(1));
    CHECK(rows.value("vertical", rows.rows("vertical")[200], "altitude_m") == Approx(0).margin(2));
}

TEST_CASE("A rocket that is driven off on a good road is shown where its fixes are, not on the rail") {
    const auto nominal = demo_scenario("nominal");
    EstimatorChain chain(nominal.vehicle, nominal.site, Equipment{}.inputs());
    chain.set_prediction_period(std::numeric_limits<double>::infinity());
    TableKeeper rows(chain);
    const LocalFrame frame(nominal.site.pad);
    double worst_m = 0;
    for (int k = 0; k < 12000; ++k) { // a minute at 200 Hz
        const double t_s = 0.005 * k, driving_s = std::max(0.0, t_s - 20);
        const double speed_mps = std::min(15.0, 0.5 * driving_s);
        const double along_m = driving_s < 30 ? 0.25 * driving_s * driving_s : 225 + 15 * (driving_s - 30);
        const double wiggle = k % 2 == 0 ? 0.02 : -0.02;
        chain.imu({position_ns(t_s), {9.8 + wiggle, wiggle, -wiggle}, {0.001 * wiggle, 0, 0}}, rows);
        if (k % 8 == 0) chain.pressure({position_ns(t_s), 87000 + 50 * wiggle, 290}, rows);
        if (k % 20 == 0) chain.tick(position_ns(t_s), rows);
        if (k % 40 != 0) continue;
        const GeodeticPosition at = frame.to_geodetic({along_m, 0, 0});
        chain.fix(
            {position_ns(t_s + 0.1), at.latitude_deg, at.longitude_deg, at.height_m, {speed_mps, 0, 0}, 3, 2.5, 4, 10},
            rows);
        if (t_s < 25) continue;
        const auto& row = rows.rows("navigation").back();
        worst_m = std::max(worst_m, std::abs(rows.value("navigation", row, "east_m") - along_m));
    }
    CHECK(worst_m < 12);
}

TEST_CASE("A launch that the accelerometer feels is navigation's to follow, before the phase says so") {
    // Fixes show the speed first, and what a filter without attitude makes of one of them is far behind.
    auto nominal = demo_scenario("nominal");
    nominal.telemetry.fix_hz = 10;
    int rows_under_thrust = 0;
    for (std::uint64_t seed = 1; seed <= 8; ++seed) {
        const auto flight = sim::fly_sensors(nominal, seed);
        EstimatorChain chain(nominal.vehicle, nominal.site, Equipment{}.inputs());
        chain.set_prediction_period(std::numeric_limits<double>::infinity());
        TableKeeper rows(chain);
        const double liftoff_s = flight.truth.events.liftoff_s;
        fly_chain(flight.sensors, nominal.site, Equipment{}, nominal.before_ignition_s - kWarmUp_s, liftoff_s + 1,
                  chain, rows);
        for (const auto& row : rows.rows("navigation")) {
            const double t_s = seconds_between(kPositionStart_ns, row.t_ns);
            if (t_s < liftoff_s) continue;
            const auto truth = std::ranges::lower_bound(flight.truth.samples, t_s - 1e-6, {}, &sim::TruthSample::t_s);
            INFO("seed " << seed << ", T+" << t_s - liftoff_s << " s");
            CHECK(std::isfinite(rows.value("navigation", row, "q_w")));
            CHECK(rows.value("navigation", row, "velocity_up_mps") == Approx(truth->velocity_enu_mps.z()).margin(3.0));
            ++rows_under_thrust;
        }
    }
    CHECK(rows_under_thrust > 150);
}

TEST_CASE("In a silence on the rail nobody is told that the vehicle rests, which may have left") {
    const bool gyro = GENERATE(true, false), leaves = GENERATE(true, false);
    const auto nominal = demo_scenario("nominal");
    double ratio2 = 0, widest_mps = 0, after_mps = 0;
    int rows_counted = 0;
    for (std::uint64_t seed = 1; seed <= 6; ++seed) {
        const auto flight = sim::fly_sensors(nominal, seed);
        const double liftoff_s = flight.truth.events.liftoff_s;
        const double from_s = liftoff_s - (leaves ? 0 : 4.5) - 0.2 * static_cast<double>(seed);
        Equipment has;
        has.gyro = gyro;
        has.silences = {{from_s, liftoff_s + (leaves ? 2.5 : -2.0)}};
        EstimatorChain chain(nominal.vehicle, nominal.site, has.inputs());
        chain.set_prediction_period(std::numeric_limits<double>::infinity());
        TableKeeper rows(chain);
        fly_chain(flight.sensors, nominal.site, has, nominal.before_ignition_s - kWarmUp_s,
                  has.silences[0].to_s + (leaves ? 0.5 : 1.5), chain, rows);
        for (const auto& row : rows.rows("navigation")) {
            const double t_s = seconds_between(kPositionStart_ns, row.t_ns);
            const double sigma_mps = rows.value("navigation", row, "velocity_up_mps_sigma");
            if (t_s > has.silences[0].to_s + 1.2) after_mps = std::max(after_mps, sigma_mps);
            if (t_s < std::max(liftoff_s - (leaves ? 0 : 99), has.silences[0].from_s) || t_s > has.silences[0].to_s)
                continue;
            const auto truth = std::ranges::lower_bound(flight.truth.samples, t_s - 1e-6, {}, &sim::TruthSample::t_s);
            ratio2 += std::pow(
                (rows.value("navigation", row, "velocity_up_mps") - truth->velocity_enu_mps.z()) / sigma_mps, 2);
            widest_mps = std::max(widest_mps, sigma_mps);
            ++rows_counted;
        }
    }
    INFO("gyro " << gyro << ", leaves " << leaves << ": mean square " << ratio2 / rows_counted << " of " << rows_counted
                 << ", widest " << widest_mps << " m/s, after it " << after_mps << " m/s");
    CHECK(rows_counted > 20);
    CHECK(ratio2 / rows_counted < 6);
    CHECK(widest_mps > 30);
    CHECK(widest_mps < 150);
    if (!leaves) CHECK(after_mps < 3);
}
