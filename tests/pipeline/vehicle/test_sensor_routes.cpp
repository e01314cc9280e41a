// How samples of several packets and several sensors of one kind become what estimators take.
#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <random>
#include <vector>

#include "server/pipeline/vehicle/fix_time.hpp"
#include "server/pipeline/vehicle/inertial_pairing.hpp"
#include "server/pipeline/vehicle/sensor_choice.hpp"
#include "shared/time.hpp"

using namespace turnstone;
using Eigen::Vector3d;

namespace {

constexpr std::int64_t kRouteStart_ns = 1'780'000'000 * kNsPerS;

std::int64_t route_ns(double t_s) {
    return kRouteStart_ns + std::llround(t_s * 1e9);
}

/// A steady turn that grows: its mean over an interval is its value in the middle.
Vector3d turning(double t_s) {
    return {0.1 * t_s, 2.0, -0.3 * t_s};
}

} // namespace

TEST_CASE("accelerations and turn rates of their own packets become samples of one time, whichever packet is first") {
    struct Case {
        const char* name;
        double accel_s, rate_s; ///< periods
        double rate_late_s;     ///< of its packets
        int batch;
    };
    for (const Case& c : {Case{"the same rate", 0.01, 0.01, 0.02, 4},
                          {"rates first", 0.01, 0.01, -0.02, 4},
                          {"rates four times as often", 0.02, 0.005, 0.03, 4},
                          {"rates half as often", 0.01, 0.02, 0.03, 2},
                          {"one by one", 0.02, 0.02, 0.005, 1}}) {
        struct Item {
            double due_s, t_s;
            bool accel;
        };
        std::vector<Item> items;
        for (int k = 1; k * c.accel_s < 3; ++k)
            items.push_back({std::ceil(k / static_cast<double>(c.batch)) * c.batch * c.accel_s, k * c.accel_s, true});
        for (int k = 1; k * c.rate_s < 3; ++k)
            items.push_back({std::ceil(k / static_cast<double>(c.batch)) * c.batch * c.rate_s + c.rate_late_s,
                             k * c.rate_s, false});
        std::stable_sort(items.begin(), items.end(), [](const Item& a, const Item& b) { return a.due_s < b.due_s; });
        InertialPairing pairing;
        std::vector<ImuSample> samples;
        for (const Item& item : items) {
            if (item.accel)
                pairing.acceleration(route_ns(item.t_s), Vector3d(item.t_s, 0, 0));
            else
                pairing.rate(route_ns(item.t_s), turning(item.t_s - 0.5 * c.rate_s));
            pairing.drain([&](const ImuSample& sample) { samples.push_back(sample); });
        }
        INFO(c.name);
        REQUIRE(static_cast<double>(samples.size()) > 0.95 * 3 / c.accel_s - 10);
        for (std::size_t k = 5; k < samples.size(); ++k) {
            const double t_s = seconds_between(kRouteStart_ns, samples[k].t_ns);
            CHECK(samples[k].t_ns > samples[k - 1].t_ns);
            CHECK(samples[k].accel_body_mps2.x() == Approx(t_s));
            REQUIRE(samples[k].rate_body_radps.allFinite());
            // Rates more seldom than accelerations are known to their interval only.
            const double slack = c.rate_s > c.accel_s ? c.rate_s : 1e-9;
            CHECK((samples[k].rate_body_radps - turning(t_s - 0.5 * c.accel_s)).norm() < 0.5 * slack + 1e-9);
        }
    }
}

TEST_CASE("an acceleration whose turn rates are lost goes on without them") {
    InertialPairing pairing;
    int whole = 0, half = 0;
    const auto take = [&](const ImuSample& sample) { ++(sample.rate_body_radps.allFinite() ? whole : half); };
    for (int k = 1; k <= 200; ++k) {
        pairing.acceleration(route_ns(0.01 * k), Vector3d::UnitX());
        if (k <= 50 || k > 150) pairing.rate(route_ns(0.01 * k), Vector3d::UnitY());
        pairing.drain(take);
    }
    CHECK(whole == 100);
    CHECK(half == 100);
}

TEST_CASE("the low-range accelerometer is used until it nears its range, the other one only then") {
    AccelerometerChoice choice({157.0, 1960.0});
    struct Used {
        double t_s;
        std::size_t sensor;
    };
    std::vector<Used> used;
    const auto force = [](double t_s) { return t_s > 1 && t_s < 2 ? 300.0 : 10.0; };
    for (double t_s = 0; t_s < 5; t_s += 0.01) {
        const bool low_silent = t_s > 4;
        if (!low_silent && choice.use(0, route_ns(t_s), Vector3d(std::min(157.0, force(t_s)), 0, 0)))
            used.push_back({t_s, 0});
        if (choice.use(1, route_ns(t_s), Vector3d(force(t_s), 0, 0))) used.push_back({t_s, 1});
    }
    for (const Used& one : used) {
        INFO("at " << one.t_s);
        const bool high = (one.t_s > 1.02 && one.t_s < 2.2) || one.t_s > 4.6;
        const bool low = one.t_s < 0.99 || (one.t_s > 2.3 && one.t_s < 3.99);
        if (high) CHECK(one.sensor == 1);
        if (low) CHECK(one.sensor == 0);
    }
    CHECK(used.size() > 430); // none twice, and little left out at the changes
    CHECK(used.size() <= 500);
}

TEST_CASE("the second barometer stands in for one that fails, without a step") {
    struct Case {
        const char* name;
        double (*fails)(double pressure_pa);
    };
    for (const Case& c : {Case{"frozen", [](double) { return 90000.0; }},
                          {"out of range", [](double) { return 0.0; }},
                          {"silent", [](double) { return kNaN; }}}) {
        BarometerChoice choice;
        std::mt19937 random(1);
        std::normal_distribution<double> noise(0, 3);
        int used = 0, wrong = 0;
        for (int k = 0; k < 600; ++k) {
            const double t_s = 0.05 * k, true_pa = 90000 - 20 * t_s;
            const double first_pa = t_s > 10 ? c.fails(true_pa) : true_pa + noise(random);
            for (const std::size_t sensor : {std::size_t{0}, std::size_t{1}}) {
                const double read_pa = sensor == 0 ? first_pa : true_pa + 140 + noise(random);
                const double pa = choice.use(sensor, route_ns(t_s + 0.001 * static_cast<double>(sensor)), read_pa);
                if (!std::isfinite(pa)) continue;
                ++used;
                if (t_s < 10 || t_s > 12.1) wrong += std::abs(pa - true_pa) > 15;
            }
        }
        INFO(c.name);
        CHECK(wrong == 0);
        CHECK(used > 540);
    }
}

TEST_CASE("a receiver's time gives a fix its moment, in every way that receivers say it") {
    // 2026-06-06T00:00:00Z is 1780704000: GPS week 2421, day 6 (by the calendar: 16952 days after 1980-01-06).
    const double utc_s = 1780704000 + 12345.678;
    const double gps_s = utc_s - 315964800 + 18; // 18 leap seconds since 2017
    const double week = std::floor(gps_s / 604800), of_week_s = gps_s - 604800 * week;
    struct Case {
        const char* name;
        ReceiverTime time;
    };
    for (const Case& c : {Case{"UTC", {.utc_s = utc_s}},
                          {"time of day", {.utc_of_day_s = 12345.678}},
                          {"week and time of week", {.gps_week = week, .gps_of_week_s = of_week_s}},
                          {"week of ten bits", {.gps_week = std::fmod(week, 1024), .gps_of_week_s = of_week_s}},
                          {"time of week", {.gps_of_week_s = of_week_s}}}) {
        INFO(c.name);
        for (const double station_off_s : {-3.2, 0.0, 40.0})
            CHECK(receiver_utc_s(c.time, utc_s + station_off_s) == Approx(utc_s).epsilon(1e-13));
    }
    CHECK(std::isnan(receiver_utc_s({}, utc_s)));
}

TEST_CASE("what varies in a fix's delay is taken out, and the station's clock is measured") {
    FixTime fixes(0.12);
    std::mt19937 random(2);
    double worst_s = 0;
    for (int k = 0; k < 300; ++k) {
        const double gnss_s = 1780704000 + 0.2 * k;
        const double delay_s = 0.12 + std::uniform_real_distribution<>(-0.06, 0.06)(random);
        const double station_s = gnss_s + 3.2; // this computer is 3.2 s ahead
        const std::int64_t t_ns = std::llround((station_s + delay_s) * 1e9);
        const std::int64_t valid_ns = fixes.valid_ns({.utc_s = gnss_s}, t_ns);
        if (k < 50) continue;
        REQUIRE(valid_ns != 0);
        worst_s = std::max(worst_s, std::abs(static_cast<double>(valid_ns) * 1e-9 - station_s));
    }
    CHECK(worst_s < 0.02); // 0.035 s rms of one, averaged
    CHECK(fixes.station_ahead_s() == Approx(3.2).margin(0.01));
    CHECK(fixes.valid_ns({}, kRouteStart_ns) == 0);
}

TEST_CASE("a receiver that finds the right second late is followed") {
    FixTime fixes(0.1);
    for (int k = 0; k < 100; ++k) {
        const double gnss_s = 1780704000 + 0.2 * k + (k < 30 ? 15.0 : 0.0);
        (void)fixes.valid_ns({.utc_s = gnss_s}, std::llround((1780704000 + 0.2 * k + 0.1) * 1e9));
    }
    CHECK(fixes.station_ahead_s() == Approx(0).margin(0.001));
}
