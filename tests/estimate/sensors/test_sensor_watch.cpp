// A sensor is silent while others are heard, and only then: where nothing at all comes, it is the link.
#include <cmath>

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
