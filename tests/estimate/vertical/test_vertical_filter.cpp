// The vertical filter: consistency over seeded runs (bounds: chi-square, Bar-Shalom, Li, Kirubarajan 2001 section 5.4),
// faults of the barometer, and gaps.
#include <functional>
#include <random>

#include <catch2/catch.hpp>

#include "server/estimate/vertical/vertical_filter.hpp"
#include "server/estimate/vertical/vertical_input.hpp"
#include "shared/time.hpp"
#include "tests/estimate/station_time.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;

namespace {

/// A flight in one dimension: 20 s at rest, 90 m/s2 for 1.8 s, then ballistic with a little drag, exactly integrated in
/// 5 ms steps.
struct Truth {
    double h = 0, v = 0, a = 0, force = 9.80665;
    void step(double t_s) {
        const bool thrust = t_s > 20.0 && t_s <= 21.8;
        if (t_s <= 20.0) return;
        const double drag = 0.0004 * v * std::fabs(v);
        force = (thrust ? 90.0 : 0.0) - drag;
        a = force - 9.80665;
        h += v * 0.005 + 0.5 * a * 0.005 * 0.005;
        v += a * 0.005;
    }
};

struct RunOutcome {
    double worst_m = 0, final_m = 0, final_mps = 0;
    int gated = 0, restarted = 0, stuck = 0;
};

/// Flies Truth through the filter; `spoil(t, height)` turns a height into what the barometer says (NaN: nothing).
template <class Spoil>
RunOutcome fly(double end_s, const Spoil& spoil) {
    std::mt19937_64 random(7);
    std::normal_distribution<double> normal;
    VerticalFilter filter(VerticalSettings{});
    Truth truth;
    RunOutcome out;
    for (int i = 0; i * 0.005 < end_s; ++i) {
        const double t_s = 0.005 * i;
        filter.set_motion(t_s < 20.3 ? Motion::rest : t_s < 22.0 ? Motion::boost : Motion::coast);
        if (i % 8 == 0) {
            const double said_m = spoil(t_s, truth.h + 0.5 * normal(random));
            if (std::isfinite(said_m)) filter.height(at(t_s), said_m, 0.5);
        }
        truth.step(t_s + 0.005);
        filter.accelerometer(at(t_s), truth.force - 9.80665 + 0.2 + 0.3 * normal(random), 0.3,
                             t_s < 20.3 ? 0.0 : truth.force);
        for (const HeightResult& result : filter.take_results()) {
            out.gated += result.verdict == HeightVerdict::gated;
            out.restarted += result.restarted;
            out.stuck += result.stuck;
        }
        const VerticalEstimate e = filter.estimate();
        if (t_s > 5.0) out.worst_m = std::max(out.worst_m, std::fabs(e.altitude_m - truth.h));
        out.final_m = e.altitude_m - truth.h;
        out.final_mps = e.vertical_speed_mps - truth.v;
    }
    return out;
}

} // namespace

TEST_CASE("innovations and errors are as large as claimed over 1000 seeded runs") {
    constexpr int kRuns = 1000;
    constexpr int kEpochs = 60;
    std::array<double, kEpochs> nis_sum{};
    double error2_h = 0, error2_v = 0, error2_b = 0;
    for (int run = 0; run < kRuns; ++run) {
        std::mt19937_64 random(static_cast<unsigned>(run));
        std::normal_distribution<double> normal;
        VerticalSettings settings;
        settings.gate_nis = 1e9;
        VerticalFilter filter(settings);
        filter.set_motion(Motion::coast);
        double h = 0.5 * normal(random), v = 2.0 * normal(random), bias = settings.accel_bias_mps2 * normal(random);
        filter.start(at(0), 0.0, 0.5, 0.0, 2.0);
        int epoch = 0;
        for (int k = 0; epoch < kEpochs; ++k) {
            const double t_s = 0.01 * k;
            const double a = 20.0 * std::sin(1.3 * t_s); // any motion: the accelerometer is an input
            if (k > 0 && k % 4 == 0) {
                filter.height(at(t_s), h + 0.5 * normal(random), 0.5);
                ++epoch;
            }
            // A sample is of the step that ends at its time.
            const double felt = 20.0 * std::sin(1.3 * (t_s - 0.01));
            filter.accelerometer(at(t_s), felt + bias + 0.3 * normal(random), 0.3);
            for (const HeightResult& result : filter.take_results())
                nis_sum[static_cast<std::size_t>(epoch - 1)] += result.nis;
            h += v * 0.01 + 0.5 * a * 1e-4;
            v += a * 0.01;
            bias += settings.accel_bias_walk_mps2_rts * 0.1 * normal(random);
        }
        // The state stands at the last height; the truth has gone one step further.
        const VerticalEstimate e = filter.estimate();
        const double a_last = 20.0 * std::sin(1.3 * 0.01 * 4 * kEpochs);
        const double v_then = v - a_last * 0.01;
        const double h_then = h - v_then * 0.01 - 0.5 * a_last * 1e-4;
        error2_h += std::pow((e.altitude_m - h_then) / e.altitude_sigma_m, 2);
        error2_v += std::pow((e.vertical_speed_mps - v_then) / e.vertical_speed_sigma_mps, 2);
        error2_b += std::pow((e.accel_bias_mps2 - bias) / e.accel_bias_sigma_mps2, 2);
    }
    // 99 % bounds of a mean of 1000 chi-square values of one degree of freedom: kalman_steady.json,
    // chi2_average_bounds.
    int outside = 0;
    for (const double sum : nis_sum) outside += sum / kRuns < 0.8885635231814684 || sum / kRuns > 1.1189480663231917;
    CHECK(outside <= 3); // 60 epochs, 1 % expected outside; more than 3 has probability 0.003
    for (const double error2 : {error2_h, error2_v, error2_b}) {
        CHECK(error2 / kRuns > 0.8885635231814684);
        CHECK(error2 / kRuns < 1.1189480663231917);
    }
}

// Dynamic pressure is half density times speed squared (any textbook of aerodynamics); the flight is integrated.
TEST_CASE("heights alone: the altitude of a launch is as unsure as the ports make it") {
    constexpr double kNoise_m = 0.5, kPerSpeed2 = 1 / (2 * 9.80665), kRuns = 60;
    for (const int every : {4, 8, 20}) { // steps of 5 ms: 50, 25 and 10 heights a second
        double squares = 0, rows = 0;
        for (unsigned seed = 1; seed <= kRuns; ++seed) {
            std::mt19937_64 random(seed);
            std::normal_distribution<double> normal;
            VerticalFilter filter(VerticalSettings{});
            Truth truth;
            const double port = filter.estimate().port_coefficient_sigma * normal(random);
            for (int i = 0; i * 0.005 < 28; ++i) {
                const double t_s = 0.005 * i;
                filter.set_motion(t_s < 20.8 ? Motion::rest : t_s < 22.0 ? Motion::boost : Motion::coast);
                if (i % every == 0) {
                    const double said_m = truth.h - port * kPerSpeed2 * truth.v * truth.v + kNoise_m * normal(random);
                    filter.height(at(t_s), said_m, kNoise_m, {kPerSpeed2, 0.0, filter.estimate().vertical_speed_mps});
                    const VerticalEstimate e = filter.estimate();
                    if (t_s > 22.5) squares += std::pow((e.altitude_m - truth.h) / e.altitude_sigma_m, 2), ++rows;
                }
                truth.step(t_s + 0.005);
            }
        }
        INFO(200 / every << " heights a second: mean square of error over sigma " << squares / rows);
        CHECK(squares / rows < 3);
        CHECK(squares / rows > 0.3);
    }
}

TEST_CASE("a bad barometer does not throw the filter") {
    struct Case {
        const char* name;
        double worst_m;
        std::function<double(double, double)> spoil;
        bool stuck;
    };
    const std::vector<Case> cases{
        {"nothing wrong", 4.0, [](double, double h) { return h; }, false},
        {"ejection pulse of 400 m for 0.3 s", 4.0,
         [](double t, double h) { return t > 28.0 && t < 29.2 ? h - 400.0 * std::exp(-(t - 28.0) / 0.3) : h; }, false},
        {"single wild values", 4.0, [n = 0](double, double h) mutable { return ++n % 37 == 0 ? h + 5000.0 : h; },
         false},
        {"port transient of 60 m for 1 s after burnout", 4.0,
         [](double t, double h) { return t > 21.8 && t < 22.8 ? h + 60.0 : h; }, false},
        {"silent from liftoff on", 60.0, [](double t, double h) { return t > 20.0 ? std::nan("") : h; }, false},
        {"stuck from one second after liftoff on", 60.0,
         [held = 0.0](double t, double h) mutable { return t < 21.0 ? held = h : held; }, true},
        {"noise of 300 m without end", 60.0,
         [n = 0u](double t, double h) mutable {
             return t < 21.0 ? h : h + 300.0 * ((++n * 2654435761u >> 8) % 2001 / 1000.0 - 1.0);
         },
         false}};
    for (const Case& c : cases) {
        const RunOutcome out = fly(33.0, c.spoil);
        INFO(c.name << ": worst " << out.worst_m << " m, gated " << out.gated << ", restarted " << out.restarted);
        CHECK(out.worst_m < c.worst_m);
        CHECK((out.stuck > 0) == c.stuck);
    }
}

TEST_CASE("when the filter is wrong it restarts from heights that agree among themselves") {
    VerticalFilter filter(VerticalSettings{});
    filter.set_motion(Motion::coast);
    filter.start(at(0), 0.0, 0.3, 0.0, 0.1);
    int restarted = 0;
    for (int i = 0; i < 800; ++i) {
        const double t_s = 0.005 * i;
        filter.accelerometer(at(t_s), 0.0, 0.3);
        if (i % 8 == 0) filter.height(at(t_s), 500.0 + 40.0 * t_s, 0.5); // the truth is elsewhere
        for (const HeightResult& result : filter.take_results()) restarted += result.restarted;
    }
    CHECK(restarted == 1);
    CHECK(filter.estimate().altitude_m == Approx(500.0 + 40.0 * 3.99).margin(2.0));
    CHECK(filter.estimate().vertical_speed_mps == Approx(40.0).margin(1.0));
}

TEST_CASE("order, duplicates and NaN") {
    const auto run = [](bool disturbed) {
        VerticalFilter filter(VerticalSettings{});
        filter.set_motion(Motion::coast);
        filter.start(at(0), 0.0, 1.0, 50.0, 1.0);
        for (int i = 0; i <= 400; ++i) {
            const double t_s = 0.005 * i;
            // A height packet overtakes inertial packets: handed over two samples early.
            if (i % 8 == 0) filter.height(at(t_s + 0.010), 50.0 * (t_s + 0.010) - 4.9 * std::pow(t_s + 0.010, 2), 0.5);
            filter.accelerometer(at(t_s), -9.8, 0.3);
            if (disturbed) {
                filter.accelerometer(at(t_s), 500.0, 0.3);        // duplicate time
                filter.accelerometer(at(t_s - 0.02), 500.0, 0.3); // late
                filter.accelerometer(at(t_s + 0.001), std::nan(""), 0.3);
                filter.height(at(t_s - 5.0), -300.0, 0.5); // far too late
                filter.height(at(t_s), std::nan(""), 0.5);
                filter.height(at(t_s), 10.0, 0.0);
            }
        }
        return filter.estimate();
    };
    const VerticalEstimate plain = run(false);
    const VerticalEstimate disturbed = run(true);
    CHECK(disturbed.altitude_m == plain.altitude_m);
    CHECK(disturbed.vertical_speed_mps == plain.vertical_speed_mps);
    CHECK(plain.vertical_speed_mps == Approx(50.0 - 9.8 * 2.0).margin(0.3));
}

TEST_CASE("port noise swamps heights from Mach 0.8 on and leaves slow flight alone") {
    CHECK(port_noise_pa(0.1, 700.0) < 1.0);
    CHECK(port_noise_pa(0.5, 15000.0) < 20.0);
    CHECK(port_noise_pa(0.85, 45000.0) > 10000.0);
    CHECK(port_noise_pa(1.3, 100000.0) > 10000.0);
}

TEST_CASE("what a shock may have done to the speed of a descent is said at once") {
    for (const double stops_s : {30.0, 30.05, 30.1}) {
        std::mt19937_64 random(11);
        std::normal_distribution<double> normal;
        VerticalFilter filter(VerticalSettings{});
        filter.start(at(0), 250.0, 1.0, -8.0, 1.0);
        filter.set_motion(Motion::descent);
        filter.set_descent_agitation(1.0);
        double squares = 0;
        int rows = 0;
        bool shocked = false;
        for (int k = 1; k < 8 * 330; ++k) {
            const double t_s = 0.0125 * k;
            if (!shocked && t_s > stops_s) {
                filter.jolt(8.0);
                shocked = true;
            }
            if (k % 8 == 0) filter.height(at(t_s), 250.0 - 8.0 * std::min(t_s, stops_s) + 0.5 * normal(random), 0.5);
            const VerticalEstimate e = filter.estimate();
            if (t_s < stops_s) continue;
            squares += std::pow(e.vertical_speed_mps / e.vertical_speed_sigma_mps, 2);
            ++rows;
        }
        INFO("stops at " << stops_s << " s: mean square of error over sigma " << squares / rows);
        CHECK(squares / rows < 2);
    }
}

TEST_CASE("the parts of a shock add up to what it did to the speed") {
    VerticalInput input(SensorNoise{}, 9.80665);
    double variance = 0, impulse_mps = 0;
    for (int k = 0; k < 40; ++k) { // a half-sine of 20 ms and 250 m/s2, then it hangs
        const double force_mps2 = k > 10 && k <= 14 ? 250.0 * std::sin(M_PI * (k - 10.5) / 4.0) : 9.8;
        const double part_mps = input.jolt_mps({at(0.005 * k), {0, force_mps2, 0}, Eigen::Vector3d::Zero()});
        variance += part_mps * part_mps;
        if (k > 10 && k <= 14) impulse_mps += 0.005 * (force_mps2 - 9.80665);
    }
    CHECK(std::sqrt(variance) == Approx(impulse_mps));
    CHECK(impulse_mps > 2.5);
}

// A volume that vents through a small hole empties exponentially (any textbook of gas dynamics); that it takes some
// hundredths of a second in the bay of a small rocket is common practice, no source.
TEST_CASE("the tail of a charge's pulse takes nothing from the speed") {
    constexpr double kFired_s = 5.01, kFalls_mps = -8.0, kNoise_m = 0.5;
    for (const double empties_s : {0.03, 0.06, 0.1})
        for (const double rate_hz : {10.0, 25.0, 50.0}) {
            double worst = 0, worst_mps = 0;
            for (unsigned seed = 1; seed <= 20; ++seed) {
                std::mt19937_64 random(seed);
                std::normal_distribution<double> normal;
                VerticalFilter filter(VerticalSettings{});
                filter.start(at(0), 1000.0, 1.0, kFalls_mps, 1.0);
                filter.set_motion(Motion::descent);
                for (int k = 1; k < static_cast<int>(10 * rate_hz); ++k) {
                    const double t_s = k / rate_hz;
                    filter.set_descent_agitation(t_s > kFired_s - 0.5 && t_s < kFired_s + 1 ? 6.0 : 0.3);
                    const double pulse_m = t_s > kFired_s ? 250.0 * std::exp(-(t_s - kFired_s) / empties_s) : 0.0;
                    filter.height(at(t_s), 1000.0 + kFalls_mps * t_s - pulse_m + kNoise_m * normal(random), kNoise_m);
                    if (t_s < kFired_s - 0.5) continue;
                    const VerticalEstimate e = filter.estimate();
                    const double error_mps = std::abs(e.vertical_speed_mps - kFalls_mps);
                    worst = std::max(worst, error_mps / e.vertical_speed_sigma_mps);
                    worst_mps = std::max(worst_mps, error_mps);
                }
            }
            INFO("empties in " << empties_s << " s, " << rate_hz << " heights a second: " << worst_mps << " m/s");
            CHECK(worst < 4.5);
        }
}

// Drag acts against the path (the point mass of any textbook of flight mechanics), and behind apogee the path is flat.
TEST_CASE("the acceleration to expect under a parachute holds the one that comes, and is small once it hangs") {
    constexpr double kGravity_mps2 = 9.80665, kStep_s = 0.005;
    for (const double across_mps : {8.0, 15.0, 30.0})
        for (const double opens_s : {0.0, 1.0, 2.0})
            for (const double falls_mps : {12.0, 20.0, 30.0}) {
                VerticalInput input(SensorNoise{}, kGravity_mps2);
                Eigen::Vector2d velocity_mps(across_mps, 0); // level, up
                double worst = 0, hanging_mps2 = 0;
                for (int k = 1; k * kStep_s < 16; ++k) {
                    const double drag_pm = k * kStep_s < opens_s ? 0 : kGravity_mps2 / (falls_mps * falls_mps);
                    const Eigen::Vector2d force_mps2 = -drag_pm * velocity_mps.norm() * velocity_mps;
                    const double up_mps2 = force_mps2.y() - kGravity_mps2;
                    velocity_mps += kStep_s * Eigen::Vector2d(force_mps2.x(), up_mps2);
                    const ImuSample sample{at(k * kStep_s), {0, force_mps2.norm(), 0}, Eigen::Vector3d::Zero()};
                    const double expected_mps2 = std::hypot(0.22, 0.85 * input.agitation_mps2(sample));
                    static_cast<void>(input.jolt_mps(sample));
                    worst = std::max(worst, std::abs(up_mps2) / expected_mps2);
                    if (k * kStep_s > 12) hanging_mps2 = std::max(hanging_mps2, expected_mps2);
                }
                INFO(across_mps << " m/s level, opens after " << opens_s << " s, falls with " << falls_mps << " m/s");
                CHECK(worst < 2.5);
                CHECK(hanging_mps2 < 0.5);
            }
}

// A receiver's fixes come a tenth of a second late: those that follow an impact tell of the fall before it.
TEST_CASE("a fix from before a shock says nothing of the speed after it, and a shock's force ends with it") {
    for (const double stops_s : {30.0, 30.05, 30.1, 30.17}) {
        std::mt19937_64 random(5);
        std::normal_distribution<double> normal;
        VerticalFilter filter(VerticalSettings{});
        filter.start(at(0), 200.0, 1.0, -6.0, 1.0);
        filter.set_motion(Motion::descent);
        const auto height_m = [&](double t_s) { return 20.0 + 6.0 * (30.0 - std::min(t_s, stops_s)); };
        double worst = 0, squares = 0;
        int rows = 0;
        for (int k = 1; k < 80 * 33; ++k) {
            const double t_s = 0.0125 * k;
            const bool shock = t_s > stops_s && t_s < stops_s + 0.03;
            filter.set_descent_agitation(shock ? 60.0 : 0.3);
            if (shock) filter.jolt(6.0 / std::sqrt(2.0)); // two samples of it
            if (k % 8 == 0) filter.height(at(t_s), height_m(t_s) + 0.5 * normal(random), 0.5);
            if (k % 16 == 5)
                filter.fix({at(t_s), 0, height_m(t_s - 0.1) + 0.5 * normal(random), 3.0,
                            (t_s - 0.1 < stops_s ? -6.0 : 0.0) + 0.2 * normal(random), 0.2});
            if (t_s < stops_s + 0.02) continue;
            const VerticalEstimate e = filter.estimate();
            worst = std::max(worst, std::abs(e.vertical_speed_mps) / e.vertical_speed_sigma_mps);
            squares += std::pow(e.vertical_speed_mps / e.vertical_speed_sigma_mps, 2);
            ++rows;
        }
        INFO("stops at " << stops_s << " s: mean square " << squares / rows << ", worst " << worst);
        CHECK(squares / rows < 2);
        CHECK(worst < 4);
    }
}

// What the axis reads too much at rest acts upwards by the cosine of its lean: in free fall, turning over within ten
// seconds, a sensor that follows gravity with attitude reads nothing but that.
TEST_CASE("a bias seen at rest leaves the vertical as the vehicle leans over") {
    const SensorNoise sensors{};
    const double bias_mps2 = 2 * sensors.accel_bias_mps2;
    VerticalFilter filter(VerticalSettings{.accel_bias_mps2 = sensors.accel_bias_mps2});
    VerticalInput input(sensors, 9.80665);
    filter.start_on_rail(at(0), 0.5);
    const auto feel = [&](double t_s, double lean_rad, double force_mps2, Motion motion) {
        const TiltInput tilt{{std::cos(lean_rad), -std::sin(lean_rad), 0}, 0.001};
        const auto up = input.acceleration({at(t_s), {force_mps2 + bias_mps2, 0, 0}, Eigen::Vector3d::Zero()},
                                           motion == Motion::rest ? std::nullopt : std::optional(tilt), motion);
        REQUIRE(up);
        filter.set_bias_walk(up->bias_walk_mps2_rts);
        filter.accelerometer(at(t_s), up->accel_up_mps2, up->sigma_mps2, up->force_mps2, up->fraction, up->bias_share);
    };
    for (int k = 1; k <= 2000; ++k) {
        feel(0.01 * k, 0, 9.80665, Motion::rest);
        if (k % 4 == 0) filter.height(at(0.01 * k), 0, 0.5);
    }
    filter.set_motion(Motion::coast);
    constexpr double kFrom_s = 20.005;
    filter.start(at(kFrom_s), 0, 0.1, 98.0665, 0.1);
    for (int k = 1; k <= 1000; ++k) feel(kFrom_s + 0.01 * k, 0.5 * M_PI * k / 1000, 0, Motion::coast);
    const VerticalEstimate e = filter.estimate();
    // A bias that went on acting upwards would be off by twice its 1-sigma times 10 s (1 - 2 / pi) here.
    CHECK(std::abs(e.vertical_speed_mps) < 0.15 * bias_mps2 * 10);
    CHECK(std::abs(e.vertical_speed_mps) < 2 * e.vertical_speed_sigma_mps);
}

// Closed form: a scale error s shows as s g in what is taken for bias at rest, and so as s (f - g) in a climb.
TEST_CASE("of a force in flight, a scale error takes what is beyond gravity, which rest has shown") {
    constexpr double kGravity_mps2 = 9.80665, kScale = 0.02;
    const SensorNoise sensors{};
    VerticalInput input(sensors, kGravity_mps2);
    const auto feel = [&](double t_s, double lean_rad, double force_mps2, Motion motion) {
        const TiltInput tilt{{std::cos(lean_rad), -std::sin(lean_rad), 0}, 0.001};
        const Eigen::Vector3d felt((1 + kScale) * force_mps2, 0, 0);
        return *input.acceleration({at(t_s), felt, Eigen::Vector3d::Zero()}, tilt, motion);
    };
    const VerticalAcceleration at_rest = feel(0.01, 0, kGravity_mps2, Motion::rest);
    CHECK(std::abs(at_rest.force_mps2) <= 1.001 * kScale * kGravity_mps2);
    const double seen_as_bias_mps2 = at_rest.accel_up_mps2;
    double t_s = 0.01;
    for (const double lean_rad : {0.0, 0.2, 1.0})
        for (const double force_mps2 : {100.0, 9.80665, 0.0, -30.0}) {
            CAPTURE(lean_rad, force_mps2);
            const VerticalAcceleration up = feel(t_s += 0.01, lean_rad, force_mps2, Motion::boost);
            const double truth_mps2 = force_mps2 * std::cos(lean_rad) - kGravity_mps2;
            const double explained_mps2 = up.bias_share * seen_as_bias_mps2 + kScale / (1 + kScale) * up.force_mps2;
            CHECK(up.accel_up_mps2 - truth_mps2 == Approx(explained_mps2).margin(kScale * kScale * kGravity_mps2));
        }
}
