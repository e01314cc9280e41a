// Radios that send many samples in a packet: heights and fixes that were there before them are used at their own time.
#include <random>
#include <utility>
#include <vector>

#include <catch2/catch.hpp>

#include "server/estimate/vertical/vertical_filter.hpp"
#include "shared/time.hpp"
#include "tests/estimate/station_time.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;

namespace {

constexpr double kLiftoff_s = 20, kBurnout_s = 22, kThrust_mps2 = 80;

struct Course {
    double height_m, speed_mps;
};
/// At rest, two seconds of thrust, then without drag.
Course course(double t_s) {
    const double up_s = std::max(0.0, t_s - kLiftoff_s);
    if (t_s <= kBurnout_s) return {0.5 * kThrust_mps2 * up_s * up_s, kThrust_mps2 * up_s};
    const double burnt_s = kBurnout_s - kLiftoff_s, after_s = t_s - kBurnout_s;
    const double top_mps = kThrust_mps2 * burnt_s;
    return {0.5 * top_mps * burnt_s + top_mps * after_s - 0.5 * 9.80665 * after_s * after_s,
            top_mps - 9.80665 * after_s};
}

struct Shown {
    double t_s;
    VerticalEstimate estimate;
};

/// The same readings, those of the accelerometer `batch` in a packet that comes with the last of them; what the filter
/// shows at each tick and at each packet.
std::vector<Shown> fly(int batch, double imu_hz, bool fixes, unsigned seed) {
    std::mt19937_64 random(seed);
    std::normal_distribution<double> normal;
    VerticalFilter filter(VerticalSettings{});
    std::vector<Shown> out;
    const auto show = [&](double t_s) { out.push_back({t_s, filter.estimate()}); };
    struct Sample {
        double t_s, accel_mps2;
    };
    std::vector<Sample> packet;
    const double period_s = 1 / imu_hz;
    filter.start_on_rail(at(0), 0.5);
    // In hundredths of a second: samples, heights between them, fixes at 5 Hz, ticks.
    const int each_sample = static_cast<int>(std::lround(100 * period_s));
    for (int i = 1; i < 3000; ++i) {
        const double t_s = 0.01 * i;
        filter.set_motion(t_s < kLiftoff_s + 1.1   ? Motion::rest
                          : t_s < kBurnout_s + 1.1 ? Motion::boost
                                                   : Motion::coast);
        if (i % each_sample == 0) {
            // Each is the mean over the interval that it ends.
            const double mean_mps2 = (course(t_s).speed_mps - course(t_s - period_s).speed_mps) / period_s;
            packet.push_back({t_s, mean_mps2 + 0.1 + 0.2 * normal(random)});
            if (static_cast<int>(packet.size()) == batch) {
                for (const Sample& one : packet) filter.accelerometer(at(one.t_s), one.accel_mps2, 0.2);
                packet.clear();
                show(t_s);
            }
        }
        if (i % each_sample == each_sample / 2)
            filter.height(at(t_s), course(t_s).height_m + 0.3 * normal(random), 0.3, {.up_mps = course(t_s).speed_mps});
        if (fixes && i % 20 == 13) {
            const Course then = course(t_s - 0.1);
            filter.fix({at(t_s), at(t_s - 0.1), then.height_m + 1.2 * normal(random), 4.0,
                        then.speed_mps + 0.3 * normal(random), 0.3});
        }
        if (i % 10 == 1) {
            filter.advance(at(t_s));
            show(t_s);
        }
    }
    return out;
}

double squared_error(const Shown& shown) {
    const Course truth = course(seconds_between(at(0), shown.estimate.t_ns));
    return std::pow((shown.estimate.vertical_speed_mps - truth.speed_mps) / shown.estimate.vertical_speed_sigma_mps, 2);
}

} // namespace

TEST_CASE("many samples in a packet lead to the state that the same samples lead to one by one") {
    for (const double imu_hz : {5.0, 10.0}) {
        const std::vector<Shown> singly = fly(1, imu_hz, false, 3), by_fives = fly(5, imu_hz, false, 3);
        int compared = 0;
        for (const Shown& packet : by_fives) {
            if (packet.t_s < kLiftoff_s || packet.estimate.t_ns != at(packet.t_s)) continue;
            for (const Shown& one : singly) {
                if (one.t_s != packet.t_s || one.estimate.t_ns != packet.estimate.t_ns) continue;
                INFO(imu_hz << " Hz, " << packet.t_s << " s");
                CHECK(std::abs(packet.estimate.altitude_m - one.estimate.altitude_m) < one.estimate.altitude_sigma_m);
                CHECK(std::abs(packet.estimate.vertical_speed_mps - one.estimate.vertical_speed_mps) <
                      one.estimate.vertical_speed_sigma_mps);
                ++compared;
            }
        }
        CHECK(compared >= 8);
    }
}

TEST_CASE("between packets the state goes on with the heights that are there, within its sigma") {
    double squares = 0;
    int counted = 0;
    for (unsigned seed = 1; seed <= 20; ++seed)
        for (const Shown& shown : fly(5, 5, true, seed)) {
            if (seconds_between(at(kLiftoff_s + 1), shown.estimate.t_ns) < 0) continue;
            CHECK(seconds_between(shown.estimate.t_ns, at(shown.t_s)) < 0.45);
            squares += squared_error(shown);
            ++counted;
        }
    CHECK(counted > 1000);
    CHECK(squares / counted < 2);
}

TEST_CASE("at rest nothing is said of a time that no measurement has reached") {
    for (const double height_period_s : {0.2, 1.0}) {
        VerticalFilter filter(VerticalSettings{});
        std::mt19937_64 random(4);
        std::normal_distribution<double> normal;
        std::int64_t measured_ns = at(0);
        for (int i = 0; i < 300; ++i) {
            const double t_s = 0.1 * i;
            if (i % static_cast<int>(std::lround(10 * height_period_s)) == 0) {
                filter.height(at(t_s), 0.3 * normal(random), 0.3);
                measured_ns = at(t_s);
            }
            filter.advance(at(t_s));
            CHECK(filter.estimate().t_ns <= measured_ns);
        }
    }
}

// Drag, a bay whose air follows late and ports that read low make heights wrong by as much as the speed and its square
// at their own time. While a packet of samples is awaited nobody knows that speed yet.
TEST_CASE("a height that waited for a packet owes the ports what the speed was at its own time") {
    constexpr double kDelay_s = 0.06, kPort = -0.02, kGravity_mps2 = 9.80665;
    const PortFlow flow{.m_per_m2ps2 = 0.5 / kGravity_mps2}; // half density over weight density
    double squares = 0, worst = 0;
    int rows = 0;
    for (unsigned seed = 1; seed <= 20; ++seed) {
        std::mt19937_64 random(seed);
        std::normal_distribution<double> normal;
        VerticalFilter filter(VerticalSettings{});
        filter.start_on_rail(at(0), 0.5);
        std::vector<std::pair<double, double>> packet;
        for (int i = 1; i < 2600; ++i) {
            const double t_s = 0.01 * i;
            filter.set_motion(t_s < kLiftoff_s + 0.5   ? Motion::rest
                              : t_s < kBurnout_s + 0.5 ? Motion::boost
                                                       : Motion::coast);
            if (i % 10 == 5) {
                const Course then = course(t_s);
                const double lower_m = kPort * flow.m_per_m2ps2 * then.speed_mps * then.speed_mps;
                filter.height(at(t_s), then.height_m - lower_m - kDelay_s * then.speed_mps + 0.5 * normal(random), 0.5,
                              flow);
            }
            if (i % 10 != 0) continue;
            packet.emplace_back(t_s, (course(t_s).speed_mps - course(t_s - 0.1).speed_mps) / 0.1);
            if (packet.size() < 5) continue;
            for (const auto& [of_s, accel_mps2] : packet)
                filter.accelerometer(at(of_s), accel_mps2 + 0.2 * normal(random), 0.2);
            packet.clear();
            if (t_s < kLiftoff_s + 0.5) continue;
            const Shown shown{t_s, filter.estimate()};
            squares += squared_error(shown);
            worst = std::max(worst, squared_error(shown));
            ++rows;
        }
    }
    INFO("mean square of error over sigma " << squares / rows << ", worst " << worst << ", " << rows << " packets");
    CHECK(rows > 200);
    CHECK(squares / rows < 2);
    CHECK(worst < 16);
}
