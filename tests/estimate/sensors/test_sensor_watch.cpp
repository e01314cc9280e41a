// A sensor is silent while others are heard, and only then: where nothing at all comes, it is the link.
#include <cmath>
#include <random>

#include <catch2/catch.hpp>

#include "server/estimate/sensors/sensor_watch.hpp"
#include "shared/constants.hpp"

namespace turnstone::estimate {
namespace {

struct SilenceCase {
    const char* title;
    double gap_from_s, gap_to_s; ///< nothing is heard of the vehicle
    double last_sample_s;        ///< the sensor gives none after it
    double period_s;             ///< of the sensor and of the others
    double silent_least_s, silent_most_s;
};

TEST_CASE("a sensor's silence counts while others are heard") {
    const SilenceCase cases[]{
        {"the sensor alone", 99, 99, 10, 0.02, 12.4, 12.8},
        {"all of the vehicle, and the others come first when it ends", 10, 13, 10, 0.02, 14.0, 15.0},
        {"a slow vehicle", 99, 99, 10, 1.0, 14.0, 16.0},
        {"a slow vehicle behind a fade", 10, 18, 10, 1.0, 20.0, 23.0},
    };
    for (const SilenceCase& each : cases) {
        INFO(each.title);
        SensorWatch watch(0, 100, 1.0);
        std::int64_t others_ns = 0;
        double silent_s = kNaN, next_s = 0;
        for (int tick = 0; tick < 400 && !(silent_s > 0); ++tick) {
            const double t_s = 0.1 * tick;
            for (; next_s < t_s; next_s += each.period_s) {
                if (next_s > each.gap_from_s && next_s < each.gap_to_s) continue;
                others_ns = seconds_to_ns(next_s);
                if (next_s <= each.last_sample_s) watch.sample(others_ns, 50 + std::sin(next_s));
            }
            watch.tick(others_ns);
            if (watch.state() == SensorState::silent) silent_s = t_s;
        }
        CHECK(silent_s > each.silent_least_s);
        CHECK(silent_s < each.silent_most_s);
        CHECK(seconds_between(seconds_to_ns(each.last_sample_s), watch.since_ns()) == Approx(0).margin(each.period_s));
    }
}

struct EndCase {
    const char* title;
    double range;                       ///< as told
    double clips;                       ///< where it does
    double step;                        ///< of what is read
    SensorState state;                  ///< at the end of the push
    double found;                       ///< where it is known to clip then
    double push = 100.0, lasts_s = 2.0; ///< on the sensor; NaN: its reading stays what it was
};

TEST_CASE("where an accelerometer clips is seen by its largest reading, whatever its file says") {
    const EndCase cases[]{
        {"as told", 80, 80, 0.005, SensorState::at_range, 80},
        {"3 % below", 80.9, 78.48, 0.005, SensorState::at_range, 78.48},
        {"a field that holds half", 157, 78.48, 0.005, SensorState::at_range, 78.48},
        {"a push within the range, read coarsely", 157, 157, 0.5, SensorState::good, 157, 80},
        {"stuck below what was seen before", 157, 157, 0.005, SensorState::frozen, 157, kNaN},
        {"at its end for longer than anything pushes", 157, 78.48, 0.005, SensorState::frozen, 78.48, 100, 60},
    };
    for (const EndCase& each : cases) {
        INFO(each.title);
        SensorWatch watch(-1.1 * each.range, 1.1 * each.range, 0.2, each.range);
        std::mt19937 random(3);
        std::normal_distribution<double> noise(0, 0.3);
        double reading = 0;
        for (int k = 0; k < 200 * (3 + each.lasts_s); ++k) {
            const double t_s = 0.005 * k;
            const bool before = t_s > 1 && t_s<1.5, pushed = t_s> 3;
            const double force = (pushed ? each.push : before && std::isnan(each.push) ? 60 : 9.8) + noise(random);
            if (!std::isnan(force)) reading = std::min(each.step * std::round(force / each.step), each.clips);
            watch.sample(seconds_to_ns(1 + t_s), reading);
        }
        CHECK(watch.state() == each.state);
        CHECK(watch.range() == Approx(each.found));
    }
}

TEST_CASE("a sensor that is heard now and then through heavy loss is not silent") {
    SensorWatch watch(0, 100, 1.0);
    std::int64_t others_ns = 0;
    for (int tick = 0; tick < 600; ++tick) {
        const double t_s = 0.1 * tick;
        // Bursts of a moment of every sensor, two to three seconds apart.
        const std::int64_t t_ns = seconds_to_ns(t_s);
        if (tick % 27 == 0 || tick % 23 == 0) {
            others_ns = t_ns;
            if (tick % 2 == 0 || tick % 3 == 0) watch.sample(t_ns, 50 + std::sin(t_s));
        }
        watch.tick(others_ns);
        CHECK(watch.state() != SensorState::silent);
    }
}

} // namespace
} // namespace turnstone::estimate
