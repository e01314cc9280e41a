// Roll, swing and drives from records that were made from other equations than those of the estimators: Runge-Kutta
// steps of a millisecond, continuous in time.
#include <catch2/catch.hpp>

#include <cmath>
#include <numbers>
#include <random>

#include "server/analysis/identify/actuator.hpp"
#include "server/analysis/identify/oscillation.hpp"
#include "server/analysis/identify/roll.hpp"

using namespace turnstone::analysis;

namespace {

constexpr double kDensity = 1.1;

/// A coast from 170 to 60 m/s in ten seconds, and fins that step about.
struct MadeCoast {
    std::vector<double> t_s, roll, pitch, yaw, fin, still, q_pa, speed_mps;

    double lp_per_mps = -0.0125, ld_per_pa = 0.0095, l0_per_pa = 2e-4; ///< Lp = of speed, Ld and L0 = of pressure
    double stiff_per_pa = 0.0150, damp_per_mps = 0.025;
    double fin_size = 0.05, gust = 0.02, noise = 0.008;
    double roll_at_start = 1;

    static double speed(double t) { return 170 - 11 * t; }
    [[nodiscard]] double deflection(double t) const {
        const double phase = std::fmod(t, 1.1);
        return fin_size * (phase < 0.3 ? 1 : phase < 0.6 ? -1 : 0);
    }
    void make(std::uint64_t seed) {
        std::mt19937_64 engine(seed);
        std::normal_distribution<double> normal;
        constexpr double kStep_s = 0.001;
        double p = roll_at_start, angle_y = 0.04, rate_y = 0, angle_z = 0, rate_z = 0.2;
        for (int i = 0; i < 10000; ++i) {
            const double t = i * kStep_s, v = speed(t), q = 0.5 * kDensity * v * v;
            if (i % 5 == 0) {
                t_s.push_back(t);
                roll.push_back(p + noise * normal(engine));
                pitch.push_back(rate_y + noise * normal(engine));
                yaw.push_back(rate_z + noise * normal(engine));
                fin.push_back(deflection(t) + 0.002 * normal(engine));
                still.push_back(0.0004 * normal(engine));
                q_pa.push_back(q);
                speed_mps.push_back(v);
            }
            // Half steps of the middle: second order, enough at a millisecond.
            const auto slope = [&](double roll_rate) {
                return lp_per_mps * v * roll_rate + ld_per_pa * q * deflection(t + kStep_s / 2) + l0_per_pa * q;
            };
            const double middle = p + 0.5 * kStep_s * slope(p);
            p += kStep_s * slope(middle);
            const auto swing = [&](double& a, double& w, double a_other, double w_other, double turn) {
                const double mid_a = a + 0.5 * kStep_s * (w + turn * a_other);
                const double mid_w =
                    w + 0.5 * kStep_s * (-stiff_per_pa * q * a - damp_per_mps * v * w + turn * w_other);
                const double da = mid_w + turn * a_other;
                const double dw = -stiff_per_pa * q * mid_a - damp_per_mps * v * mid_w + turn * w_other;
                a += kStep_s * da + gust * std::sqrt(kStep_s) * normal(engine);
                w += kStep_s * dw;
            };
            const double a_y = angle_y, w_y = rate_y;
            swing(angle_y, rate_y, angle_z, rate_z, p);
            swing(angle_z, rate_z, a_y, w_y, -p);
        }
    }
    [[nodiscard]] RollRecord roll_record() const { return {t_s, roll, fin, q_pa, speed_mps}; }
    [[nodiscard]] SwingRecord swing_record() const { return {t_s, roll, pitch, yaw, q_pa, speed_mps, {}, {}}; }
};

bool holds(const Interval& interval, double value) {
    return interval.low <= value && value <= interval.high;
}

} // namespace

TEST_CASE("roll damping and the fins' effect come back with intervals that hold them", "[statistics]") {
    int lp_held = 0, ld_held = 0;
    constexpr int kRecords = 60;
    for (std::uint64_t seed = 1; seed <= kRecords; ++seed) {
        MadeCoast made;
        made.make(seed);
        const RollDynamics found = identify_roll(made.roll_record(), {0, 0, 0, 0});
        REQUIRE(found.verdict.identifiable);
        const double lp = made.lp_per_mps * 2 * found.reference_q_pa / (kDensity * found.reference_speed_mps);
        const double ld = made.ld_per_pa * found.reference_q_pa;
        CHECK(found.lp_per_s == Approx(lp).epsilon(0.08));
        CHECK(found.ld_per_s2 == Approx(ld).epsilon(0.04));
        CHECK(std::abs(found.delay_s) < 0.005);
        lp_held += holds(found.lp_interval, lp) ? 1 : 0;
        ld_held += holds(found.ld_interval, ld) ? 1 : 0;
    }
    // Binomial 99 % bounds of 60 at 0.95, rounded outwards.
    CHECK(lp_held >= 52);
    CHECK(ld_held >= 52);
}

TEST_CASE("a scale error that the sensors may have is in the interval, however much was measured") {
    MadeCoast made;
    made.make(1);
    const RollDynamics sure = identify_roll(made.roll_record(), {0, 0, 0, 0});
    const RollDynamics honest = identify_roll(made.roll_record(), {0.03, 0.04, 0, 0});
    const double half = 0.5 * (honest.ld_interval.high - honest.ld_interval.low);
    CHECK(half > 1.9 * 0.05 * honest.ld_per_s2);
    CHECK(half > 0.5 * (sure.ld_interval.high - sure.ld_interval.low));
    CHECK(honest.ld_per_s2 == sure.ld_per_s2);
}

TEST_CASE("fins that stay still, or are as good as still, identify nothing and say so") {
    MadeCoast made;
    made.fin_size = 0;
    made.make(2);
    const RollRecord still{made.t_s, made.roll, made.still, made.q_pa, made.speed_mps};
    const RollDynamics found = identify_roll(still, {});
    CHECK(!found.verdict.identifiable);
    CHECK(found.verdict.why.find("no excitation") != std::string::npos);
    CHECK(found.verdict.why.find("deg rms") != std::string::npos);
    const RollDynamics noise_only = identify_roll(made.roll_record(), {});
    CHECK(!noise_only.verdict.identifiable);
    CHECK(!identify_roll({}, {}).verdict.identifiable);
    const std::vector<double> nothing(made.t_s.size(), kNone);
    CHECK(!identify_roll({made.t_s, nothing, made.fin, made.q_pa, made.speed_mps}, {}).verdict.identifiable);
}

TEST_CASE("lost samples and NaN cost accuracy, not truth") {
    MadeCoast made;
    made.make(3);
    std::mt19937 engine(3);
    for (std::size_t i = 0; i < made.t_s.size(); ++i)
        if (engine() % 4 == 0 || (made.t_s[i] > 3 && made.t_s[i] < 3.6)) made.roll[i] = kNone;
    const RollDynamics found = identify_roll(made.roll_record(), {0, 0, 0, 0});
    REQUIRE(found.verdict.identifiable);
    const double ld = made.ld_per_pa * found.reference_q_pa;
    CHECK(found.ld_per_s2 == Approx(ld).epsilon(0.05));
}

TEST_CASE("natural frequency and damping come back from gusts alone, while the vehicle rolls", "[statistics]") {
    int natural_held = 0, damping_held = 0, count = 0;
    for (std::uint64_t seed = 1; seed <= 12; ++seed) {
        MadeCoast made;
        made.make(seed);
        const SwingDynamics found = identify_swing(made.swing_record(), 0);
        const double w = std::sqrt(made.stiff_per_pa * found.reference_q_pa);
        const double damping =
            made.damp_per_mps * 2 * found.reference_q_pa / (kDensity * found.reference_speed_mps) / (2 * w);
        for (const Swing* swing : {&found.pitch, &found.yaw}) {
            INFO(swing->verdict.why);
            REQUIRE(swing->verdict.identifiable);
            // Gusts alone for ten seconds leave 4 % and 0.04, 1-sigma (Cramer and Rao's bound, by hand).
            CHECK(swing->natural_hz == Approx(w / (2 * std::numbers::pi)).epsilon(0.12));
            CHECK(swing->damping == Approx(damping).margin(0.16));
            natural_held += holds(swing->natural_hz_interval, w / (2 * std::numbers::pi)) ? 1 : 0;
            damping_held += holds(swing->damping_interval, damping) ? 1 : 0;
            ++count;
        }
    }
    CHECK(natural_held >= count - 4);
    CHECK(damping_held >= count - 4);
}

TEST_CASE("a sensor mounted askew on a vehicle that spins changes nothing of its natural frequency and damping") {
    for (std::uint64_t seed = 1; seed <= 4; ++seed) {
        MadeCoast made;
        made.l0_per_pa = 1.4e-3; // ten radians a second
        made.roll_at_start = 10;
        made.gust = 0.002;
        made.make(seed);
        const SwingDynamics straight = identify_swing(made.swing_record(), 0);
        for (std::size_t i = 0; i < made.t_s.size(); ++i) {
            made.pitch[i] += 0.02 * made.roll[i];
            made.yaw[i] -= 0.03 * made.roll[i];
        }
        const SwingDynamics askew = identify_swing(made.swing_record(), 0);
        for (const auto& [one, other] : {std::pair(&straight.pitch, &askew.pitch), {&straight.yaw, &askew.yaw}}) {
            INFO("seed " << seed << ", damping " << one->damping << " and " << other->damping);
            REQUIRE(one->verdict.identifiable);
            REQUIRE(other->verdict.identifiable);
            CHECK(other->natural_hz == Approx(one->natural_hz).epsilon(0.01));
            CHECK(other->damping == Approx(one->damping).epsilon(0.05));
        }
    }
}

TEST_CASE("a static margin needs what it needs") {
    Swing swing;
    swing.verdict.identifiable = true;
    swing.natural_hz = 2;
    swing.natural_hz_interval = {1.9, 2.1};
    swing.damping = 0.1;
    const StaticMarginNeeds needs{0.4, 2.9, 0.00478, 11};
    const StaticMargin margin = static_margin(swing, 10000, 135, needs);
    // By hand: q S C = 525.8 N/rad; path 1.343 1/s; w 12.566 rad/s; rate damping 1.170 1/s.
    CHECK(margin.value_m == Approx((12.566 * 12.566 - 1.343 * 1.170) * 0.4 / 525.8).epsilon(1e-3));
    CHECK(margin.interval_m.low < margin.value_m);
    CHECK(margin.interval_m.high > margin.value_m);
    StaticMarginNeeds lacking = needs;
    lacking.inertia_kg_m2 = kNone;
    CHECK(std::isnan(static_margin(swing, 10000, 135, lacking).value_m));
    CHECK(static_margin(swing, 10000, 135, lacking).why.find("moment of inertia") != std::string::npos);
    swing.verdict.identifiable = false;
    CHECK(std::isnan(static_margin(swing, 10000, 135, needs).value_m));
}

TEST_CASE("a drive's delay, lag and rate limit are found, and a limit that was not reached is not made up") {
    const auto record = [](double amplitude_rad) {
        EvenRuns runs{0.01, 50, 0, 0, 0, {{0, {{}, {}}}}};
        std::mt19937_64 engine(5);
        std::normal_distribution<double> normal;
        double fin = 0;
        for (int i = 0; i < 12000; ++i) {
            const double t = i * 0.0005;
            const auto command = [&](double at) {
                return at < 0 ? 0.0 : amplitude_rad * (std::fmod(at, 0.8) < 0.4 ? 1 : -1);
            };
            if (i % 20 == 0) {
                runs.runs[0].channels[0].push_back(command(t));
                runs.runs[0].channels[1].push_back(fin + 0.0005 * normal(engine));
            }
            const double wish = (command(t - 0.03) - fin) / 0.02;
            fin += 0.0005 * std::clamp(wish, -3.0, 3.0);
        }
        return runs;
    };
    const Actuator fast = identify_actuator(record(0.15));
    CHECK(fast.delay_s == Approx(0.03).margin(0.006));
    CHECK(fast.lag_s == Approx(0.02).margin(0.006));
    CHECK(fast.rate_limit_radps == Approx(3.0).epsilon(0.05));
    CHECK(fast.at_limit_share > 0.05);
    const Actuator slow = identify_actuator(record(0.01));
    CHECK(std::isnan(slow.rate_limit_radps));
    CHECK(slow.rate_used_radps < 1.5);
    CHECK(std::isnan(identify_actuator({0.01, 50, 0, 0, 0, {}}).delay_s));
    CHECK(saturated_share(std::vector<double>{0, 0.1, 0.1, 0.1, 0, 0.1, 0, 0, 0, 0}, 0.1) == Approx(0.3));
}
