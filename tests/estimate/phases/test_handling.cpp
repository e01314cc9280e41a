// What happens to a vehicle on the ground and must not be taken for a flight. Shapes and sizes are those that arms,
// cars, doors and wind can produce. Each case runs with both sensors, and with one alone where it is about that one.
#include <functional>
#include <random>

#include <catch2/catch.hpp>

#include "shared/time.hpp"
#include "tests/estimate/chain/flight_harness.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;

namespace {

constexpr double kGravityHere_mps2 = 9.80;
const Eigen::Vector3d kStill = Eigen::Vector3d::Zero(); ///< rad/s

/// What the sensors feel at t seconds after ten quiet ones upright on the pad.
struct Feeling {
    Eigen::Vector3d force{kGravityHere_mps2, 0, 0};
    Eigen::Vector3d rate{0, 0, 0};
    double height_m = 0;
    double extra_pa = 0;
    bool received = true;
};

struct Case {
    const char* name;
    double duration_s;
    std::function<Feeling(double)> feel;
};

class Count final : public EventSink {
  public:
    void event(EstimateEvent event) override { liftoffs += event.id == EventId::liftoff; }
    int liftoffs = 0;
};

int liftoffs(const Case& c, bool inertial, bool pressure) {
    Vehicle vehicle;
    vehicle.rocket.emplace();
    vehicle.rocket->parachutes.resize(2);
    Site site{};
    site.pad = {40.0, -117.0, 1000.0};
    LoneFlight state(vehicle, site, inertial, pressure);
    Count count;
    std::mt19937_64 random(11);
    std::normal_distribution<double> normal;
    for (int i = 0; i * 0.005 < 10.0 + c.duration_s + 8.0; ++i) {
        const double t_s = 0.005 * i;
        const std::int64_t t_ns = 1'000'000'000'000 + seconds_to_ns(t_s);
        const bool acting = t_s >= 10.0 && t_s < 10.0 + c.duration_s;
        Feeling f = acting ? c.feel(t_s - 10.0) : Feeling{};
        if (t_s >= 10.0 + c.duration_s) f.height_m = c.feel(c.duration_s).height_m;
        const auto noisy = [&](double sigma) -> Eigen::Vector3d {
            return Eigen::Vector3d(normal(random), normal(random), normal(random)) * sigma;
        };
        const Eigen::Vector3d force = f.force + noisy(0.3);
        const Eigen::Vector3d rate = f.rate + noisy(0.005);
        const double p = 89900.0 - 10.4 * f.height_m + f.extra_pa + 5.0 * normal(random);
        if (f.received && inertial) state.imu({t_ns, force.cwiseMax(-157.0).cwiseMin(157.0), rate}, count);
        if (f.received && pressure && i % 8 == 0) state.pressure({t_ns, p, 295.0}, count);
        if (i % 20 == 0) state.tick(t_ns, count);
    }
    return count.liftoffs;
}

double between(double t, double from, double to, double value) {
    return t >= from && t < to ? value : 0.0;
}

/// Repeatable noise without state.
double hash_unit(double t) {
    const auto n = static_cast<std::uint64_t>(t * 200.0) * 0x9E3779B97F4A7C15ULL;
    return static_cast<double>((n >> 33) % 2001) / 1000.0 - 1.0;
}

} // namespace

TEST_CASE("handling, transport, weather and gaps are not a liftoff") {
    const std::vector<Case> both{
        {"carried while walking", 20,
         [](double t) {
             return Feeling{{kGravityHere_mps2 + 3.0 * std::sin(12.0 * t), 1.5 * std::sin(6 * t), 1.0},
                            {0.2, 0.5, 0.3},
                            1.0 + 0.1 * std::sin(12 * t)};
         }},
        {"lifted quickly over the head", 2,
         [](double t) {
             return Feeling{{kGravityHere_mps2 + between(t, 0, 0.25, 14.0) - between(t, 0.25, 0.5, 14.0), 0, 0},
                            kStill,
                            std::min(1.5, 3.0 * t)};
         }},
        {"thrown up and caught", 2,
         [](double t) {
             return Feeling{{between(t, 0, 0.3, kGravityHere_mps2 + 20.0) +
                                 between(t, 1.4, 1.7, kGravityHere_mps2 + 18.0) + between(t, 1.7, 2, kGravityHere_mps2),
                             0, 0},
                            kStill,
                            1.0 + (t > 0.3 && t < 1.4 ? 1.5 : 0.0)};
         }},
        {"dropped on its tail from table height", 2,
         [](double t) {
             return Feeling{
                 {between(t, 0.4, 0.408, 150.0) + between(t, 0.55, 0.556, 90.0) + (t < 0.4 ? 0.0 : kGravityHere_mps2),
                  0, 0},
                 kStill,
                 -0.8};
         }},
        {"shaken along its axis", 10,
         [](double t) {
             return Feeling{{kGravityHere_mps2 + 40.0 * std::sin(30.0 * t), 3, 2}, {0.5, 1, 1}, 1.0};
         }},
        {"swung by the nose", 4,
         [](double) {
             return Feeling{{kGravityHere_mps2 + 26.0, 2, 1}, {0.3, 5.0, 1.0}, 0.5};
         }},
        {"hammered on the rail", 10,
         [](double t) {
             return Feeling{{kGravityHere_mps2 + (std::fmod(t, 0.4) < 0.006 ? 140.0 : 0.0), 0, 0}, kStill, 0};
         }},
        {"driven over a rough road", 30,
         [](double t) {
             return Feeling{
                 {kGravityHere_mps2 + 25.0 * hash_unit(t) * (std::fmod(t, 0.7) < 0.12), 8.0 * hash_unit(t + 50), 3},
                 {0.1, 0.3, 0.3},
                 2.0 * std::sin(0.3 * t)};
         }},
        {"driven up a steep hill", 60,
         [](double t) {
             return Feeling{{kGravityHere_mps2 + 0.5 * hash_unit(t), 1.0, 0}, {0, 0.1, 0.1}, 2.5 * t};
         }},
        {"a fast lift in a tower", 20,
         [](double t) {
             return Feeling{{kGravityHere_mps2 + between(t, 0, 4, 1.5) - between(t, 16, 20, 1.5), 0, 0},
                            kStill,
                            t < 4    ? 0.75 * t * t
                            : t < 16 ? 12 + 6 * (t - 4)
                                     : 84 + 6 * (t - 16) - 0.75 * (t - 16) * (t - 16)};
         }},
        {"lying in an accelerating car", 12,
         [](double t) {
             return Feeling{{4.0 * std::sin(0.5 * t), kGravityHere_mps2, 0}, kStill, 0};
         }},
        {"vacuum drawn on the bay", 20,
         [](double t) {
             return Feeling{{kGravityHere_mps2, 0, 0}, kStill, 0, -400.0 * std::min(t, 10.0)};
         }},
        {"five seconds without reception, in a gust", 8,
         [](double t) {
             return Feeling{{kGravityHere_mps2, 0, 0}, kStill, 0, -60.0 * (t > 3), t > 5.0};
         }},
        {"reception in scraps", 30,
         [](double t) {
             return Feeling{
                 {kGravityHere_mps2, 0, 0}, kStill, 0, 30.0 * std::sin(t), hash_unit(std::floor(t * 5) / 5) > 0.6};
         }},
    };
    const std::vector<Case> pressure_only{
        {"gusts", 40,
         [](double t) {
             return Feeling{{kGravityHere_mps2, 0, 0}, kStill, 0, 80.0 * hash_unit(std::floor(t * 2) / 2)};
         }},
        {"car door slammed", 6,
         [](double t) {
             return Feeling{{kGravityHere_mps2, 0, 0},
                            kStill,
                            0,
                            t > 1 ? -400.0 * std::exp(-(t - 1) / 0.2) * std::cos(12.0 * (t - 1)) : 0.0};
         }},
        {"window opened at speed", 10,
         [](double t) {
             return Feeling{{kGravityHere_mps2, 0, 0}, kStill, 0, -between(t, 1, 8, 220.0)};
         }},
        {"driven up a steep hill", 60,
         [](double t) {
             return Feeling{{kGravityHere_mps2, 0, 0}, kStill, 2.5 * t};
         }},
        {"a fast lift in a tower", 20,
         [](double t) {
             return Feeling{{kGravityHere_mps2, 0, 0}, kStill, 6.0 * t};
         }},
        {"reception in scraps", 30,
         [](double t) {
             return Feeling{
                 {kGravityHere_mps2, 0, 0}, kStill, 0, 30.0 * std::sin(t), hash_unit(std::floor(t * 5) / 5) > 0.6};
         }},
    };
    for (const Case& c : both) {
        INFO(c.name << ", both sensors");
        CHECK(liftoffs(c, true, true) == 0);
    }
    for (const Case& c : both) {
        INFO(c.name << ", inertial only");
        CHECK(liftoffs(c, true, false) == 0);
    }
    for (const Case& c : pressure_only) {
        INFO(c.name << ", barometer only");
        CHECK(liftoffs(c, false, true) == 0);
        INFO("with inertial sensor");
        CHECK(liftoffs(c, true, true) == 0);
    }
}

TEST_CASE("a launch after the same quiet seconds is a liftoff") {
    const Case launch{"launch", 12, [](double t) {
                          const bool thrust = t < 1.5;
                          const double v0 = 80.0 * 1.5, h0 = 90.0;
                          const double c = t - 1.5;
                          return Feeling{{thrust ? kGravityHere_mps2 + 80.0 : -2.0, 0, 0},
                                         {1.0, 0.1, 0.1},
                                         thrust ? 40.0 * t * t : h0 + v0 * c - 5.9 * c * c};
                      }};
    CHECK(liftoffs(launch, true, true) == 1);
    CHECK(liftoffs(launch, true, false) == 1);
    CHECK(liftoffs(launch, false, true) == 1);
}
