// Late fixes against tests/reference/numerics2/translation_filter.json (a filter with delayed copies of its state,
// compared with one joint Gaussian). Everything else on motions made here, with errors drawn here.
#include <algorithm>
#include <cmath>
#include <random>
#include <vector>

#include <Eigen/Cholesky>
#include <catch2/catch.hpp>

#include "server/estimate/translation/translation_filter.hpp"
#include "shared/time.hpp"
#include "tests/estimate/station_time.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;
using Eigen::Vector3d;
using nlohmann::json;

namespace {

TranslationFix fix_at(double valid_s, double delay_s, const Vector3d& position_m, const Vector3d& velocity_mps) {
    return {at(valid_s + delay_s), 0, position_m, velocity_mps, 2.5, 4.0, 0.2};
}

/// A point's motion: position and velocity at a time.
struct TrueMotion {
    Vector3d position_m, velocity_mps;
};

/// A rocket without any sensor but its receiver: 3 s of thrust, coast, a parachute at 8 m/s in wind.
TrueMotion rocket(double s) {
    constexpr double kThrust_mps2 = 60, kBurn_s = 3, kFall_mps = 8;
    constexpr double kTop_mps = kThrust_mps2 * kBurn_s, kTop_m = 0.5 * kThrust_mps2 * kBurn_s * kBurn_s;
    constexpr double kCoast_s = kTop_mps / 9.81, kApogee_s = kBurn_s + kCoast_s;
    constexpr double kApogee_m = kTop_m + 0.5 * kTop_mps * kCoast_s;
    if (s <= 0) return {Vector3d::Zero(), Vector3d::Zero()};
    const double east_mps = s > 10 ? 5.0 : 0.5 * s, east_m = s > 10 ? 25 + 5 * (s - 10) : 0.25 * s * s;
    if (s <= kBurn_s) return {{east_m, 0, 0.5 * kThrust_mps2 * s * s}, {east_mps, 0, kThrust_mps2 * s}};
    if (s <= kApogee_s) {
        const double t = s - kBurn_s;
        return {{east_m, 0, kTop_m + kTop_mps * t - 0.5 * 9.81 * t * t}, {east_mps, 0, kTop_mps - 9.81 * t}};
    }
    const double t = s - kApogee_s, settled = 1 - std::exp(-t);
    return {{east_m, 0, kApogee_m - kFall_mps * (t - settled)}, {east_mps, 0, -kFall_mps * settled}};
}

/// Errors as a receiver's: nine tenths of the variance keep for over a minute.
class Receiver {
  public:
    explicit Receiver(unsigned seed) : random_(seed) {
        for (int axis = 0; axis < 3; ++axis) wander_m_(axis) = sigma_m(axis) * std::sqrt(0.9) * normal_(random_);
    }
    TranslationFix fix(double valid_s, double step_s, double delay_s, const TrueMotion& truth) {
        Vector3d position_m = truth.position_m, velocity_mps = truth.velocity_mps;
        for (int axis = 0; axis < 3; ++axis) {
            const double keep = std::exp(-step_s / 80);
            wander_m_(axis) =
                keep * wander_m_(axis) + sigma_m(axis) * std::sqrt(0.9 * (1 - keep * keep)) * normal_(random_);
            position_m(axis) += wander_m_(axis) + sigma_m(axis) * std::sqrt(0.1) * normal_(random_);
            velocity_mps(axis) += 0.2 * normal_(random_);
        }
        return fix_at(valid_s, delay_s, position_m, velocity_mps);
    }
    double normal() { return normal_(random_); }

  private:
    static double sigma_m(int axis) { return axis == 2 ? 4.0 : 2.5; }
    std::mt19937 random_;
    std::normal_distribution<double> normal_;
    Vector3d wander_m_;
};

} // namespace

TEST_CASE("Fixes 300 ms late are used at their time: the state is that of a filter with delayed copies") {
    const json& c = reference_case("numerics2/translation_filter.json", "late_gnss_300ms_300");
    const json& in = c.at("inputs");
    const double step_s = in.at("dt_s");
    TranslationSettings settings;
    settings.errors = {80, Vector3d::Zero(), 0, 0, 20};
    settings.fix_delay_s = in.at("delay_s");
    settings.white_fraction = 1;
    TranslationState known(settings.errors);
    for (int i = 0; i < 3; ++i) {
        known.kalman().x(2 + 3 * i) = in.at("x0")[static_cast<std::size_t>(i)];
        known.kalman().covariance(2 + 3 * i, 2 + 3 * i) =
            in.at("P0_axis")[static_cast<std::size_t>(i)][static_cast<std::size_t>(i)];
    }
    TranslationFilter filter(settings, known, kStart_ns);
    filter.expect({Vector3d::Zero(), {0, 0, in.at("sigma_m_m_s2")}, Vector3d::Constant(in.at("tau_s"))});
    const json& rows = c.at("expected").at("rows");
    const json& measurements = in.at("measurements");
    std::size_t next = 0, compared = 0;
    for (const json& row : rows) {
        const int step = row[0];
        for (; next < measurements.size() && measurements[next][0] <= step; ++next) {
            const json& m = measurements[next];
            const double t_s = m[0].get<double>() * step_s;
            if (!m[1].is_null())
                filter.fix({at(t_s),
                            0,
                            {0, 0, m[1]},
                            {0, 0, m[2]},
                            1.0,
                            std::sqrt(in.at("R_gnss_h_v")[0][0].get<double>()),
                            std::sqrt(in.at("R_gnss_h_v")[1][1].get<double>())});
            if (!m[3].is_null()) filter.height(at(t_s), m[3], 0.8, 0);
        }
        filter.advance(at(step * step_s));
        const TranslationEstimate e = filter.estimate();
        INFO("step " << step);
        for (int i = 0; i < 3; ++i) {
            const Vector3d value = i == 0 ? e.position_enu_m : i == 1 ? e.velocity_enu_mps : e.acceleration_enu_mps2;
            const auto k = static_cast<std::size_t>(i);
            CHECK(value.z() == Approx(row[k + 1].get<double>()).margin(1e-6).epsilon(1e-9));
            CHECK(std::sqrt(e.covariance(2 + 3 * i, 2 + 3 * i)) == Approx(row[k + 4].get<double>()).epsilon(1e-6));
        }
        CHECK(e.covariance(2, 5) == Approx(row[7].get<double>()).epsilon(1e-6));
        ++compared;
    }
    CHECK(compared == 90);
}

TEST_CASE("Whatever the order in which measurements come, the estimate is that of their own order") {
    std::mt19937 random(7);
    for (int run = 0; run < 20; ++run) {
        TranslationFilter in_order(TranslationSettings{}), mixed(TranslationSettings{});
        struct Item {
            double due_s;
            int k;
        };
        std::vector<Item> items;
        for (int k = 0; k < 60; ++k) items.push_back({k * 0.1 + 0.4 * std::uniform_real_distribution<>()(random), k});
        const auto give = [&](TranslationFilter& filter, int k) {
            const double s = k * 0.1;
            const TrueMotion m = rocket(s - 3);
            if (k % 2 == 0)
                filter.fix(fix_at(s, 0.1, m.position_m, m.velocity_mps));
            else
                filter.height(at(s), m.position_m.z(), 1.0, 3.0);
        };
        give(mixed, 0); // the first fixes what can be gone back to
        for (int k = 0; k < 60; ++k) give(in_order, k);
        std::sort(items.begin() + 1, items.end(), [](const Item& a, const Item& b) { return a.due_s < b.due_s; });
        for (std::size_t i = 1; i < items.size(); ++i) give(mixed, items[i].k);
        CHECK((in_order.estimate().position_enu_m - mixed.estimate().position_enu_m).norm() < 1e-9);
        CHECK((in_order.estimate().covariance - mixed.estimate().covariance).norm() < 1e-9);
    }
}

TEST_CASE("A tracker's flight is followed from the first fix to the ground, through gaps, with honest sigmas") {
    struct Gap {
        double from_s, to_s;
    };
    const std::vector<std::vector<Gap>> gap_sets = {{}, {{1, 3}}, {{5, 15}}, {{-2, 1}, {20, 30}}, {{2, 4}, {60, 70}}};
    double position2 = 0, velocity2 = 0;
    int counted = 0, missing = 0;
    for (unsigned seed = 1; seed <= 40; ++seed) {
        TranslationFilter filter(TranslationSettings{});
        Receiver receiver(seed);
        const auto& gaps = gap_sets[seed % gap_sets.size()];
        double last_gap_s = -100;
        for (double s = -20; s < 80; s += 0.2) {
            const bool heard =
                std::none_of(gaps.begin(), gaps.end(), [&](const Gap& g) { return s >= g.from_s && s < g.to_s; });
            const TranslationFix fix = receiver.fix(s, 0.2, 0.12, rocket(s));
            if (heard)
                filter.fix(fix);
            else
                last_gap_s = s;
            if (s < -2) filter.on_the_rail(at(s));
            filter.advance(at(s + 0.12));
            const TranslationEstimate e = filter.estimate();
            if (s > -15 && s - last_gap_s > 1 && !e.valid) ++missing;
            if (!e.valid || s < -15) continue;
            const TrueMotion truth = rocket(s + 0.12);
            position2 += (e.position_enu_m - truth.position_m).cwiseQuotient(e.position_sigma_m()).squaredNorm() / 3;
            velocity2 +=
                (e.velocity_enu_mps - truth.velocity_mps).cwiseQuotient(e.velocity_sigma_mps()).squaredNorm() / 3;
            ++counted;
        }
    }
    CHECK(missing == 0);
    REQUIRE(counted > 15000);
    INFO("position " << position2 / counted << ", velocity " << velocity2 / counted);
    CHECK((position2 / counted > 0.3 && position2 / counted < 2));
    CHECK((velocity2 / counted > 0.3 && velocity2 / counted < 2));
}

TEST_CASE(
    "TrueMotion that begins smoothly is followed, though everything else says that the vehicle stands on the pad") {
    struct Case {
        const char* name;
        double accel_mps2;
        double speed_mps;
    };
    for (const Case& c : {Case{"a balloon", 0.3, 5}, {"a drive on a good road", 1, 20}, {"a catapult", 40, 30}}) {
        TranslationFilter filter(TranslationSettings{});
        Receiver receiver(3);
        double worst_m = 0;
        for (double s = 0; s < 60; s += 0.2) {
            const double moving_s = std::max(0.0, s - 20), ramp_s = c.speed_mps / c.accel_mps2;
            const double speed_mps = c.accel_mps2 * std::min(moving_s, ramp_s);
            const double along_m =
                moving_s < ramp_s ? 0.5 * c.accel_mps2 * moving_s * moving_s : c.speed_mps * (moving_s - 0.5 * ramp_s);
            const Vector3d way = Vector3d(0.6, 0, 0.8);
            const TrueMotion truth{along_m * way, speed_mps * way};
            filter.fix(receiver.fix(s, 0.2, 0.1, truth));
            filter.on_the_rail(at(s));
            filter.advance(at(s));
            const TranslationEstimate e = filter.estimate();
            const Vector3d ratio = (e.position_enu_m - truth.position_m).cwiseQuotient(e.position_sigma_m());
            if (s > 5) worst_m = std::max(worst_m, ratio.cwiseAbs().maxCoeff());
        }
        INFO(c.name);
        CHECK(worst_m < 4);
    }
}

TEST_CASE("The pad's height on the receiver's scale is found on the pad, and heights in flight are free of it") {
    for (const double datum_m : {-50.0, -25.0, 0.0, 25.0, 50.0}) {
        TranslationFilter filter(TranslationSettings{});
        Receiver receiver(11);
        for (double s = -30; s < 40; s += 0.2) {
            TrueMotion m = rocket(s);
            m.position_m.z() += datum_m;
            filter.fix(receiver.fix(s, 0.2, 0.1, m));
            if (s < -0.5) filter.on_the_rail(at(s));
        }
        filter.advance(at(39.9));
        const TranslationEstimate e = filter.estimate();
        INFO("datum " << datum_m << " m");
        CHECK(std::abs(filter.datum_m() - datum_m) < 3 * filter.datum_sigma_m());
        CHECK(filter.datum_sigma_m() < 6);
        CHECK(std::abs(e.position_enu_m.z() - rocket(39.9).position_m.z()) < 3 * e.position_sigma_m().z());
        CHECK(e.position_sigma_m().z() < 8);
    }
}

TEST_CASE("A delay that differs from the file is found in a climb") {
    for (const double delay_s : {0.05, 0.1, 0.2, 0.3}) {
        TranslationFilter filter(TranslationSettings{}); // told 0.1
        Receiver receiver(5);
        for (double s = -20; s < 30; s += 0.2) {
            const TrueMotion m = rocket(s);
            filter.fix(receiver.fix(s, 0.2, delay_s, m));
            // Heights know no delay: they and the velocity of fixes show it.
            filter.height(at(s + 0.1), rocket(s + 0.1).position_m.z() + 0.4 * receiver.normal(), 0.4, 1.0);
        }
        INFO("delay " << delay_s << " s, found " << filter.delay_s() + 0.1);
        CHECK(std::abs(0.1 + filter.delay_s() - delay_s) < 3 * filter.delay_sigma_s() + 0.005);
        CHECK(filter.delay_sigma_s() < 0.04);
    }
}

TEST_CASE("Heights on a level road do not show how late fixes are") {
    double square = 0;
    constexpr int kDrives = 12;
    for (unsigned seed = 0; seed < kDrives; ++seed) {
        TranslationFilter filter(TranslationSettings{});
        Receiver receiver(20 + seed);
        for (int tick = 0; tick < 5 * 240; ++tick) {
            const double s = 0.2 * tick, driven_s = std::max(0.0, s - 10);
            const TrueMotion car{{25 * driven_s, 0, 0}, {driven_s > 0 ? 25.0 : 0.0, 0, 0}};
            if (tick % 5 == 0) filter.fix(receiver.fix(s, 1.0, 0.1, car)); // as late as told
            filter.height(at(s + 0.1), 0.6 * receiver.normal(), 0.6, 1.0);
        }
        square += std::pow(filter.delay_s() / filter.delay_sigma_s(), 2) / kDrives;
    }
    CHECK(square < 2);
}

TEST_CASE("A receiver that lost its satellites at liftoff is believed as soon as it has them again") {
    for (const double silent_s : {1.0, 2.5, 4.0, 6.0}) {
        TranslationFilter filter(TranslationSettings{});
        Receiver receiver(8);
        for (double s = -20; s < silent_s + 1.1; s += 0.2) {
            if (s > 0.1 && s < silent_s) continue;
            filter.fix(receiver.fix(s, 0.2, 0.1, rocket(s)));
            // Nobody has found the liftoff yet: it is thought to stand.
            filter.on_the_rail(at(s));
        }
        const TranslationEstimate e = filter.estimate();
        const TrueMotion truth = rocket(seconds_between(at(0), e.t_ns));
        INFO("after " << silent_s << " s");
        CHECK(std::abs(e.position_enu_m.z() - truth.position_m.z()) < 3 * e.position_sigma_m().z());
        CHECK(std::abs(e.velocity_enu_mps.z() - truth.velocity_mps.z()) < 3 * e.velocity_sigma_mps().z());
        CHECK(e.position_sigma_m().z() < 60);
    }
}

TEST_CASE("Heights that thrust raises are followed, and those that a charge's pulse lowers are not") {
    const Manoeuvre kStands{.may_begin = true};
    const Manoeuvre kThrust{Vector3d::Zero(), {15, 15, 60}, Vector3d::Constant(1)}; // found after half a second
    TranslationFilter filter(TranslationSettings{});
    Receiver receiver(9);
    double squares = 0;
    int counted = 0;
    for (int i = -200; i < 30; ++i) {
        const double s = 0.1 * i;
        filter.expect(i < 5 ? kStands : kThrust);
        if (i < 0 && i % 2 == 0) filter.fix(receiver.fix(s, 0.2, 0.1, rocket(s)));
        filter.height(at(s), rocket(s).position_m.z() + 0.3 * receiver.normal(), 0.3, 1.0);
        if (i < 4) continue;
        const TranslationEstimate e = filter.estimate();
        squares += std::pow((e.velocity_enu_mps.z() - rocket(s).velocity_mps.z()) / e.velocity_sigma_mps().z(), 2);
        ++counted;
    }
    INFO(squares / counted);
    CHECK(squares / counted < 3);

    TranslationFilter hangs(TranslationSettings{});
    for (int i = 0; i < 300; ++i) {
        const double s = 40 + 0.1 * i;
        const TrueMotion m = rocket(s);
        hangs.fix(receiver.fix(s, 0.1, 0.1, m));
        const bool pulse = i > 150 && i < 156;
        hangs.height(at(s), m.position_m.z() - (pulse ? 40 : 0) + 0.3 * receiver.normal(), 0.3, 1.0);
        const TranslationEstimate e = hangs.estimate();
        if (i > 100) CHECK(std::abs(e.position_enu_m.z() - m.position_m.z()) < 12);
    }
}

TEST_CASE("Heights of a launch are followed from the second odd one on, with sigmas that hold the speed") {
    constexpr double kThrust_mps2 = 100;
    double squares = 0;
    int counted = 0;
    for (unsigned seed = 1; seed <= 40; ++seed) {
        TranslationFilter filter(TranslationSettings{});
        filter.expect({.may_begin = true}); // nobody has found the launch yet
        Receiver receiver(seed);
        const double first_s = 0.1 * seed / 40; // the launch falls anywhere between two heights
        for (int i = -100; i < 6; ++i) {
            const double s = 0.1 * i + first_s, climbs_s = std::max(0.0, s);
            if (i < 0 && i % 2 == 0) filter.fix(receiver.fix(s, 0.2, 0.1, rocket(s)));
            filter.height(at(s), 0.5 * kThrust_mps2 * climbs_s * climbs_s + 0.6 * receiver.normal(), 0.6, 0.4);
            if (i < 3) continue;
            const TranslationEstimate e = filter.estimate();
            squares += std::pow((e.velocity_enu_mps.z() - kThrust_mps2 * s) / e.velocity_sigma_mps().z(), 2);
            ++counted;
        }
    }
    INFO(squares / counted);
    CHECK(squares / counted < 3);
    CHECK(squares / counted > 0.3);
}

// A receiver's first fix in a launch tells of a slow climb; what heights say beyond it is the launch, no error.
TEST_CASE("A launch between fixes is not taken for what heights are off by") {
    constexpr double kThrust_mps2 = 80, kPorts = 0.02, kPerSpeed2 = 1 / (2 * 9.80665);
    double squares = 0;
    int counted = 0;
    for (unsigned seed = 1; seed <= 40; ++seed) {
        TranslationFilter filter(TranslationSettings{});
        filter.expect({.may_begin = true}); // nobody has found the launch yet
        Receiver receiver(seed);
        const double port = kPorts * receiver.normal();
        for (int i = -200; i < 12; ++i) {
            const double s = 0.1 * i, climbs_s = std::max(0.0, s), speed_mps = kThrust_mps2 * climbs_s;
            const double up_m = 0.5 * kThrust_mps2 * climbs_s * climbs_s, flow_m = kPerSpeed2 * speed_mps * speed_mps;
            const TrueMotion truth{{0, 0, up_m}, {0, 0, speed_mps}};
            if (i % 12 == 2) filter.fix(receiver.fix(s, 1.2, 0.1, truth));
            filter.height(at(s), up_m - port * flow_m + 0.6 * receiver.normal(), 0.6, std::hypot(0.4, kPorts * flow_m));
            if (i < 6) continue;
            const TranslationEstimate e = filter.estimate();
            squares += std::pow((e.position_enu_m.z() - up_m) / e.position_sigma_m().z(), 2);
            ++counted;
        }
    }
    INFO("mean square of error over sigma " << squares / counted);
    CHECK(squares / counted < 1.6);
    CHECK(squares / counted > 0.3);
}

TEST_CASE("Where a launch is expected after rest, thrust may have begun at once") {
    TranslationFilter filter(TranslationSettings{});
    Receiver receiver(5);
    filter.expect({.may_begin = true});
    for (int i = -100; i <= 0; ++i) filter.fix(receiver.fix(0.2 * i, 0.2, 0.1, rocket(-1)));
    constexpr double kThrust_mps2 = 60, kSilent_s = 0.5, kTau_s = 1;
    filter.expect({Vector3d::Zero(), {15, 15, kThrust_mps2}, Vector3d::Constant(kTau_s)});
    filter.advance(at(kSilent_s));
    // Singer's process in its steady state from the start: the variance of the integral of exp(-|t|/tau) twice.
    const double x = kSilent_s / kTau_s;
    const double steady_mps = kThrust_mps2 * kTau_s * std::sqrt(2 * (x - 1 + std::exp(-x)));
    CHECK(filter.estimate().velocity_sigma_mps().z() == Approx(steady_mps).epsilon(0.03));
}

// A delay shifts all of what a receiver says by the same time, and nothing in it can show by how much.
TEST_CASE("However long it falls, fixes alone leave a vehicle as unsure as its speed times their delay") {
    TranslationSettings settings;
    settings.errors.delay_sigma_s = 0.16;
    settings.errors.datum_sigma_m = 0.1;
    for (const double late_s : {-0.16, 0.16}) {
        TranslationFilter filter(settings);
        Receiver receiver(3);
        filter.expect({Vector3d::Zero(), {1.5, 1.5, 4}, Vector3d::Constant(1)});
        const auto fall = [](double s) {
            const double t = std::max(0.0, s);
            return TrueMotion{{0, 0, 1000 - 0.5 * 9.81 * t * t}, {0, 0, -9.81 * t}};
        };
        for (int i = -50; i <= 59; ++i)
            filter.fix(receiver.fix(0.2 * i, 0.2, settings.fix_delay_s, fall(0.2 * i - late_s)));
        const TranslationEstimate e = filter.estimate();
        CAPTURE(late_s, e.position_enu_m.z(), e.position_sigma_m().z(), e.velocity_sigma_mps().z());
        const double speed_mps = fall(11.8).velocity_mps.z();
        CHECK(e.position_sigma_m().z() > 0.95 * 0.16 * std::abs(speed_mps));
        CHECK(std::abs(e.position_enu_m.z() - fall(11.8).position_m.z()) < 1.5 * e.position_sigma_m().z());
        CHECK(std::abs(e.velocity_enu_mps.z() - speed_mps) < 2.5 * e.velocity_sigma_mps().z());
        CHECK(filter.delay_sigma_s() > 0.15);
    }
}

TEST_CASE("What falls and is heard no more is predicted as far as the ground, and to lie there") {
    TranslationSettings settings;
    settings.errors.datum_sigma_m = 0.1;
    TranslationFilter filter(settings);
    Receiver receiver(5);
    filter.expect({.sigma_mps2 = {1.5, 1.5, 4}});
    const auto fall = [](double s) { return TrueMotion{{20 * s, 0, -100 * s}, {20, 0, -100}}; }; // at 0 s it hits
    for (double s = -8; s < -0.35; s += 0.2) filter.fix(receiver.fix(s, 0.2, 0.1, fall(s)));
    for (const double later_s : {0.1, 1.0, 10.0, 60.0}) {
        INFO(later_s << " s after it hit");
        filter.advance(at(later_s));
        const TranslationEstimate e = filter.estimate();
        REQUIRE(e.valid);
        CHECK(std::abs(e.position_enu_m.z()) < 1);
        CHECK(std::abs(e.position_enu_m.x()) < 3 * e.position_sigma_m().x());
        CHECK(e.position_sigma_m().norm() < 12);
    }
}

TEST_CASE("One fix that is far off is believed little, and a receiver that stays there is believed in the end") {
    TranslationFilter filter(TranslationSettings{});
    const auto stand = [&](double s, double east_m) { filter.fix(fix_at(s, 0.1, {east_m, 0, 0}, {0, 0, 0})); };
    for (double s = 0; s < 20; s += 0.2) stand(s, 0);
    stand(20, 3000);
    filter.advance(at(20.1));
    CHECK(filter.rejected_fixes() == 1);
    CHECK(std::abs(filter.estimate().position_enu_m.x()) < 30);
    for (double s = 20.2; s < 24; s += 0.2) stand(s, 3000);
    filter.advance(at(24));
    const TranslationEstimate e = filter.estimate();
    CHECK(std::abs(e.position_enu_m.x() - 3000) < 3 * e.position_sigma_m().x() + 5);
}

TEST_CASE("Fixes of two dimensions give a place without a height, heights a height without a place") {
    TranslationFilter heights(TranslationSettings{});
    for (int k = 0; k < 20; ++k) heights.height(at(k * 0.1), 12.0, 0.5, 2.0);
    CHECK(heights.estimate().valid_up);
    CHECK_FALSE(heights.estimate().valid);
    CHECK(heights.estimate().position_enu_m.z() == Approx(12).margin(0.5));

    TranslationFilter both(TranslationSettings{});
    for (int k = 0; k < 20; ++k) {
        both.height(at(k * 0.1), 12.0, 0.5, 2.0);
        both.fix(fix_at(k * 0.1, 0.1, {100, 50, kNaN}, {0, 0, kNaN}));
    }
    CHECK(both.estimate().valid);
    CHECK(both.estimate().position_enu_m.x() == Approx(100).margin(3));
    CHECK(both.estimate().position_enu_m.z() == Approx(12).margin(1));
}

TEST_CASE("Nothing that is not a number, too old or too far away spoils the state") {
    TranslationFilter filter(TranslationSettings{});
    for (int k = 0; k < 100; ++k) filter.fix(fix_at(k * 0.2, 0.1, {0, 0, 0}, {0, 0, 0}));
    const TranslationEstimate before = filter.estimate();
    filter.fix(fix_at(20, 0.1, {kNaN, 0, 0}, {0, 0, 0}));
    filter.fix(fix_at(-500, 0.1, {0, 0, 0}, {0, 0, 0}));
    filter.height(at(20), kNaN, 1, 1);
    filter.height(at(20), 1, kNaN, 1);
    CHECK(filter.estimate().position_enu_m == before.position_enu_m);
    filter.fix(fix_at(20.2, 0.1, {1e7, 1e7, 1e7}, {1e5, 0, 0}));
    filter.advance(at(3600));
    CHECK_FALSE(filter.estimate().valid);
    filter.fix(fix_at(3600, 0.1, {500, 0, 0}, {0, 0, 0}));
    const TranslationEstimate e = filter.estimate();
    CHECK(e.valid);
    CHECK(e.covariance.allFinite());
    CHECK(e.covariance.llt().info() == Eigen::Success); // positive definite
    CHECK(e.position_enu_m.x() == Approx(500).margin(10));
}
