// Sensors before against after: simulated faults, how often a good sensor is accused, and what real ones did.
#include <catch2/catch.hpp>

#include <cmath>
#include <numbers>

#include "server/analysis/charge/survival.hpp"
#include "tests/support/reference.hpp"
#include "tools/sim/truth/random.hpp"

using namespace turnstone;
using namespace turnstone::analysis;

namespace {

/// Noise whose neighbours are correlated by `like`.
std::vector<double> noise(sim::Random& random, std::size_t count, double level, double sigma, double like = 0) {
    std::vector<double> out;
    double last = random.normal();
    for (std::size_t k = 0; k < count; ++k) {
        out.push_back(level + sigma * last);
        last = like * last + std::sqrt(1 - like * like) * random.normal();
    }
    return out;
}

Axes lying(sim::Random& random, double sigma) {
    return {noise(random, 800, 0.1, sigma), noise(random, 800, -0.2, sigma), noise(random, 800, 9.8, sigma)};
}

std::vector<double> column(const std::vector<std::vector<double>>& rows, std::size_t at, std::size_t from,
                           std::size_t until, double factor = 1) {
    std::vector<double> out;
    for (std::size_t k = from; k < until; ++k) out.push_back(factor * rows.at(k).at(at));
    return out;
}

Axes axes(const std::vector<std::vector<double>>& rows, std::array<std::size_t, 3> at, std::size_t from,
          std::size_t until, double factor = 1) {
    return {column(rows, at[0], from, until, factor), column(rows, at[1], from, until, factor),
            column(rows, at[2], from, until, factor)};
}

} // namespace

TEST_CASE("each fault of a barometer is named") {
    sim::Random random(1, "barometer");
    const auto before = noise(random, 150, 87000, 6);
    struct Fault {
        const char* what;
        std::vector<double> after;
        SensorState state;
    };
    for (const Fault& fault :
         {Fault{"none", noise(random, 120, 87002, 6), SensorState::well}, Fault{"silent", {}, SensorState::dead},
          Fault{"one value", std::vector<double>(120, 87123), SensorState::stuck},
          Fault{"offset", noise(random, 120, 87250, 6), SensorState::offset},
          Fault{"noise", noise(random, 120, 87000, 36), SensorState::noisy}}) {
        INFO(fault.what);
        CHECK(compare(before, fault.after, 120, kBarometer).state == fault.state);
    }
    CHECK(compare({}, before, 120, kBarometer).state == SensorState::unknown);
    CHECK(compare(std::vector<double>(50, 1.0), before, 120, kBarometer).state == SensorState::unknown);
}

TEST_CASE("what a comparison could have seen is seen four times in five, and no shift is seen one time in twenty") {
    for (const double like : {0.0, 0.5, 0.8}) {
        int seen = 0, accused = 0, noise_accused = 0;
        constexpr int kRuns = 400;
        for (std::uint64_t seed = 0; seed < kRuns; ++seed) {
            sim::Random random(seed, "comparison");
            const auto before = noise(random, 150, 87000, 6, like), same = noise(random, 120, 87000, 6, like);
            const Survival none = compare(before, same, 120, kBarometer);
            accused += none.shift_p < 0.05 ? 1 : 0;
            noise_accused += none.noise_p < 0.05 ? 1 : 0;
            CHECK(none.state == SensorState::well);
            std::vector<double> moved = same;
            for (double& value : moved) value += none.least_shift;
            seen += compare(before, moved, 120, kBarometer).shift_p < 0.05 ? 1 : 0;
        }
        INFO("correlation " << like << ": seen " << seen << ", accused " << accused << " and " << noise_accused
                            << " of " << kRuns);
        CHECK(seen > 0.7 * kRuns);
        CHECK(seen < 0.92 * kRuns);
        CHECK(accused < 0.1 * kRuns);
        CHECK(noise_accused < 0.1 * kRuns);
    }
}

TEST_CASE("an accelerometer that was turned over is well, and one with another scale or offset is not") {
    sim::Random random(2, "accelerometer");
    const Axes before = lying(random, 0.25), same = lying(random, 0.25);
    CHECK(compare_accelerometer(before, same, 800, {}).state == SensorState::well);
    const Axes turned{same[2], same[0], same[1]};
    const Turn over{
        Eigen::Quaterniond(Eigen::AngleAxisd(-2 * std::numbers::pi / 3, Eigen::Vector3d(1, 1, 1) / std::sqrt(3.0))),
        0.03};
    CHECK(compare_accelerometer(before, turned, 800, over).state == SensorState::well);
    CHECK(std::isnan(compare_accelerometer(before, turned, 800, over).shift)); // its offset lies along another axis
    Axes scaled = same, offset = same, stuck = same, noisy = same;
    for (auto& axis : scaled)
        for (double& value : axis) value *= 1.08;
    for (double& value : offset[2]) value += 1;
    for (double& value : offset[0]) value += 1;
    for (double& value : stuck[1]) value = -0.2;
    for (double& value : noisy[1]) value = -0.2 + 3 * (value + 0.2);
    CHECK(compare_accelerometer(before, scaled, 800, {}).state == SensorState::scale);
    CHECK(compare_accelerometer(before, offset, 800, {}).state == SensorState::offset);
    CHECK(compare_accelerometer(before, stuck, 800, {}).state == SensorState::stuck);
    CHECK(compare_accelerometer(before, noisy, 800, {}).state == SensorState::noisy);
    CHECK(compare_accelerometer(before, {}, 800, {}).state == SensorState::dead);
    // An axis that reads its noise about zero, whichever it is, was not turned: gravity has its length in any
    // direction.
    for (std::size_t lost = 0; lost < 3; ++lost) {
        Axes upright = before, without = same;
        std::swap(upright[lost], upright[2]); // that gravity is on
        std::swap(without[lost], without[2]);
        double sum = 0;
        for (const double value : without[lost]) sum += value;
        for (double& value : without[lost]) value -= sum / static_cast<double>(without[lost].size());
        INFO("axis " << lost);
        CHECK(compare_accelerometer(upright, without, 800, {}).state != SensorState::well);
    }
}

namespace {

using Flip = std::array<int, 3>;

/// As it lies with this specific force, some axes read with the other sign.
Axes at_rest(sim::Random& random, const Eigen::Vector3d& force, const Flip& sign = {1, 1, 1}) {
    Axes out;
    for (std::size_t k = 0; k < 3; ++k)
        out[k] = noise(random, 800, sign[k] * force[static_cast<Eigen::Index>(k)], 0.25);
    return out;
}

/// About an axis of the body by so many degrees, as a gyro sees it.
Turn about(const Eigen::Vector3d& axis, double degrees, double sigma_rad = 0.03) {
    return {Eigen::Quaterniond(Eigen::AngleAxisd(degrees * std::numbers::pi / 180, axis.normalized())), sigma_rad};
}

} // namespace

TEST_CASE("an inverted axis is told from a vehicle that came to rest upside down by the turn that its gyro saw") {
    constexpr double kG = 9.80665;
    const Eigen::Vector3d flat(0, 0, kG), leaning = kG * Eigen::Vector3d(1, -2, 2).normalized();
    const Eigen::Vector3d x = Eigen::Vector3d::UnitX();
    const std::optional<Turn> none, still = about(x, 0), over = about(x, 180), far = about(x, 60);
    struct Case {
        const char* what;
        Eigen::Vector3d before, after;
        Flip sign;
        std::optional<Turn> turn;
        SensorState state;
    };
    // The force in the body turns the other way than the body.
    const auto seen_after = [](const Eigen::Vector3d& force, const Turn& turn) {
        return Eigen::Vector3d(turn.before_from_after.conjugate() * force);
    };
    const auto cases = {
        Case{"as it lay", leaning, leaning, {1, 1, 1}, still, SensorState::well},
        Case{"one axis inverted", flat, flat, {1, 1, -1}, still, SensorState::inverted},
        Case{"one of three that share gravity", leaning, leaning, {-1, 1, 1}, still, SensorState::inverted},
        Case{"two of them", leaning, leaning, {1, -1, -1}, still, SensorState::inverted},
        Case{"all of them", leaning, leaning, {-1, -1, -1}, still, SensorState::inverted},
        Case{"upside down", flat, -flat, {1, 1, 1}, over, SensorState::well},
        Case{"upside down and inverted", flat, -flat, {1, 1, -1}, over, SensorState::inverted},
        Case{"turned", leaning, seen_after(leaning, *far), {1, 1, 1}, far, SensorState::well},
        Case{"turned, one axis inverted", leaning, seen_after(leaning, *far), {1, 1, -1}, far, SensorState::inverted},
        Case{"gravity where no sign puts it", flat, seen_after(flat, *far), {1, 1, 1}, still, SensorState::disagrees},
        Case{"nothing seen by a gyro", flat, -flat, {1, 1, 1}, none, SensorState::unknown},
        Case{"as little of an inverted axis", flat, flat, {1, 1, -1}, none, SensorState::unknown},
        Case{"a turn known to a quarter of a circle", flat, flat, {1, 1, -1}, about(x, 0, 1.5), SensorState::unknown},
        Case{"as it lay, by itself", leaning, leaning, {1, 1, 1}, none, SensorState::well},
        Case{"turned, and farther from gravity",
             flat,
             1.1 * seen_after(flat, *far),
             {1, 1, 1},
             far,
             SensorState::unknown},
        // An offset of 0.85 m/s2 that was there all the time: the length is another by twice as much.
        Case{"turned over with its offset", 1.0867 * flat, -0.9133 * flat, {1, 1, 1}, over, SensorState::well},
        Case{"in free fall before", 0.1 * flat, flat, {1, 1, 1}, still, SensorState::unknown}};
    sim::Random random(5, "turned");
    for (const Case& each : cases) {
        INFO(each.what);
        const Survival found =
            compare_accelerometer(at_rest(random, each.before), at_rest(random, each.after, each.sign), 800, each.turn);
        CHECK(word(found.state) == word(each.state));
        CHECK(found.alive() == 1);
        const bool is_accused = each.state == SensorState::inverted || each.state == SensorState::disagrees;
        CHECK((std::abs(found.shift) > 1.5) == is_accused);
        if (is_accused) CHECK(found.shift_p < 0.001);
    }
    CHECK(compare_accelerometer(at_rest(random, flat), {}, 800, still).alive() == 0);
    CHECK(std::isnan(compare_accelerometer({}, at_rest(random, flat), 800, still).alive()));
}

TEST_CASE("an offset that came across gravity is found by the turn that the gyro saw, and never called well without") {
    constexpr double kG = 9.80665;
    const Eigen::Vector3d flat(0, 0, kG), leaning = kG * Eigen::Vector3d(1, -2, 2).normalized();
    const Eigen::Vector3d x = Eigen::Vector3d::UnitX();
    const std::optional<Turn> none, still = about(x, 0, 0.02), rocked = about(x, 6, 0.02), over = about(x, 150, 0.02);
    struct Case {
        const char* what;
        Eigen::Vector3d before, change;
        std::optional<Turn> turn;
        double turned_deg; ///< in truth, about x
        SensorState state;
    };
    const auto cases = {
        Case{"none", flat, {0, 0, 0}, still, 0, SensorState::well},
        Case{"across one axis", flat, {1.5, 0, 0}, still, 0, SensorState::offset},
        Case{"across another, the other way", flat, {0, -2, 0}, still, 0, SensorState::offset},
        Case{"across where axes share gravity", leaning, {1.2, 1.2, 0.6}, still, 0, SensorState::offset},
        Case{"and it rocked", flat, {1.5, 0, 0}, rocked, 6, SensorState::offset},
        Case{"it rocked only", flat, {0, 0, 0}, rocked, 6, SensorState::well},
        Case{"the reading stood still as it rocked",
             flat,
             {0, -kG * std::sin(0.2), 0},
             about(x, 11.46, 0.02),
             11.46,
             SensorState::offset},
        Case{"lying elsewhere", flat, {2.5, 0, 0}, over, 150, SensorState::offset},
        Case{"no gyro to tell it from a turn", flat, {1.5, 0, 0}, none, 0, SensorState::unknown},
        Case{"no gyro, and it rocked", flat, {0, 0, 0}, none, 6, SensorState::unknown},
        Case{"no gyro, and nothing", flat, {0, 0, 0}, none, 0, SensorState::well},
        Case{"so large that the length shows it", flat, {3.2, 0, 0}, none, 0, SensorState::offset}};
    sim::Random random(6, "across");
    for (const Case& each : cases) {
        INFO(each.what);
        const Eigen::Vector3d after =
            Eigen::AngleAxisd(-each.turned_deg * std::numbers::pi / 180, x) * each.before + each.change;
        const Survival found =
            compare_accelerometer(at_rest(random, each.before), at_rest(random, after), 800, each.turn);
        CHECK(word(found.state) == word(each.state));
        if (each.turn && each.state == SensorState::offset) {
            CHECK(found.shift == Approx(each.change.norm()).margin(3 * found.shift_sigma));
            CHECK(found.shift_p < 0.001);
        }
        // Nothing is called well without the least that could have been seen, here half of what the length shows.
        if (each.state == SensorState::well) CHECK(found.least_across < (each.turn ? 1.3 : 3.0));
        if (each.state == SensorState::well) CHECK(found.least_across > 0.4);
    }
}

TEST_CASE("the least offset across gravity that a record could have shown is named four times in five") {
    constexpr double kG = 9.80665;
    constexpr int kRuns = 800;
    for (const double sigma_rad : {0.005, 0.02, 0.05}) {
        int named = 0, of_half = 0;
        double least = 0;
        for (std::uint64_t seed = 0; seed < kRuns; ++seed) {
            sim::Random random(seed, "least across");
            const Eigen::Vector3d force = kG * random.normal3().normalized();
            const Eigen::Vector3d across = force.cross(random.normal3()).normalized(),
                                  error = sigma_rad * random.normal3();
            const Turn seen{Eigen::Quaterniond(Eigen::AngleAxisd(error.norm(), error.normalized())), sigma_rad};
            const Axes before = at_rest(random, force);
            least = compare_accelerometer(before, at_rest(random, force), 800, seen).least_across;
            const auto state = [&](double change) {
                return compare_accelerometer(before, at_rest(random, force + change * across), 800, seen).state;
            };
            named += state(least) == SensorState::offset ? 1 : 0;
            of_half += state(0.5 * least) == SensorState::offset ? 1 : 0;
        }
        INFO("turn known to " << sigma_rad << " rad: " << least << " m/s2 named " << named << " times of " << kRuns
                              << ", half of it " << of_half);
        CHECK(named > 0.76 * kRuns);
        CHECK(named < 0.84 * kRuns);
        CHECK(of_half < 0.2 * kRuns);
    }
}

TEST_CASE("accelerometers with usual offsets and gyros with their errors are accused by chance less than once in "
          "five hundred, and inverted ones are found") {
    constexpr int kRuns = 5000;
    constexpr double kG = 9.80665;
    int accused = 0, unknown = 0, wanted = 0, found = 0;
    for (std::uint64_t seed = 0; seed < kRuns; ++seed) {
        sim::Random random(seed, "turned by chance");
        const Eigen::Vector3d force = kG * random.normal3().normalized(), offset = 0.3 * random.normal3();
        const double sigma_rad = random.uniform(0.01, 0.12);
        const Turn true_turn = about(random.normal3(), random.uniform(0.0, 180.0), sigma_rad);
        const Eigen::Vector3d error = sigma_rad * random.normal3();
        Turn seen = true_turn;
        seen.before_from_after =
            Eigen::Quaterniond(Eigen::AngleAxisd(error.norm(), error.normalized())) * true_turn.before_from_after;
        const Eigen::Vector3d after = true_turn.before_from_after.conjugate() * force;
        const auto state = [&](const Flip& sign) {
            return compare_accelerometer(at_rest(random, force + offset), at_rest(random, after + offset, sign), 800,
                                         seen)
                .state;
        };
        const SensorState good = state({1, 1, 1});
        accused += good != SensorState::well && good != SensorState::unknown ? 1 : 0;
        unknown += good == SensorState::unknown ? 1 : 0;
        if (std::abs(after.z()) < 0.7 * kG) continue; // an axis that holds little of gravity hides its sign
        ++wanted;
        found += state({1, 1, -1}) == SensorState::inverted ? 1 : 0;
    }
    INFO("accused " << accused << " and not told " << unknown << " of " << kRuns << ", inverted found " << found
                    << " of " << wanted);
    CHECK(500 * accused < kRuns);
    CHECK(unknown < 0.25 * kRuns);
    CHECK(wanted > 300);
    CHECK(found == wanted);
}

TEST_CASE("a gyro is judged by its worst axis") {
    sim::Random random(3, "gyro");
    const auto still = [&] {
        return Axes{noise(random, 800, 0.01, 0.004), noise(random, 800, 0, 0.004), noise(random, 800, 0, 0.004)};
    };
    const Axes before = still();
    CHECK(compare_gyro(before, still(), 800).state == SensorState::well);
    Axes moved = still();
    for (double& rate : moved[2]) rate -= 0.05;
    const Survival found = compare_gyro(before, moved, 800);
    CHECK(found.state == SensorState::offset);
    CHECK(found.shift == Approx(-0.05).margin(0.001));
}

TEST_CASE("a real phone at rest is well before and after, and one that lies elsewhere or is carried off is not") {
    const auto recorded = test::reference_rows("data/phone_imu_baro_gnss.csv");
    std::vector rows(recorded.begin() + 22, recorded.begin() + 42);
    rows.insert(rows.end(), recorded.begin() + 396, recorded.begin() + 480);
    constexpr std::array<std::size_t, 3> kAccel{19, 18, 17}, kGyroAt{22, 21, 20};
    constexpr std::size_t kPressure_hpa = 27;
    const auto pressure = [&](std::size_t from, std::size_t until) {
        return column(rows, kPressure_hpa, from, until, 100);
    };
    // One height for 20 s, another and at rest for 20 from 26 s on, picked up and carried from 68 s on.
    CHECK(compare(pressure(26, 36), pressure(36, 46), 10, kBarometer).state == SensorState::well);
    CHECK(compare_accelerometer(axes(rows, kAccel, 26, 36), axes(rows, kAccel, 36, 46), 10, {}).state ==
          SensorState::well);
    Axes inverted = axes(rows, kAccel, 36, 46); // lying still: no gyro saw it turn
    for (auto& axis : inverted)
        for (double& value : axis) value = -value;
    CHECK(compare_accelerometer(axes(rows, kAccel, 26, 36), inverted, 10, about({1, 0, 0}, 0)).state ==
          SensorState::inverted);
    // An offset along the axis that holds least of gravity changes its length by less than a tolerance.
    const Axes lay = axes(rows, kAccel, 26, 36);
    std::size_t across = 0;
    for (std::size_t k = 1; k < 3; ++k)
        if (std::abs(lay[k].front()) < std::abs(lay[across].front())) across = k;
    Axes offset = axes(rows, kAccel, 36, 46);
    const Survival untouched = compare_accelerometer(lay, offset, 10, about({1, 0, 0}, 0));
    CHECK(untouched.state == SensorState::well);
    CHECK(untouched.least_across < 1.6);
    const double change_mps2 = lay[across].front() > 0 ? -2 : 2;
    for (double& value : offset[across]) value += change_mps2;
    CHECK(compare_accelerometer(lay, offset, 10, about({1, 0, 0}, 0)).state == SensorState::offset);
    CHECK(compare_accelerometer(lay, offset, 10, {}).state == SensorState::unknown);
    CHECK(compare_gyro(axes(rows, kGyroAt, 26, 36), axes(rows, kGyroAt, 36, 46), 10).state == SensorState::well);
    const Survival moved = compare(pressure(0, 20), pressure(26, 46), 20, kBarometer);
    CHECK(moved.state == SensorState::offset);
    CHECK(moved.shift == Approx(567).margin(5));
    CHECK(compare_accelerometer(axes(rows, kAccel, 26, 46), axes(rows, kAccel, 68, 104), 36, {}).state ==
          SensorState::noisy);
    CHECK(compare_gyro(axes(rows, kGyroAt, 26, 46), axes(rows, kGyroAt, 68, 104), 36).state == SensorState::noisy);
}

TEST_CASE("a real quadrotor's accelerometer shakes as much in one second as in another, and scaled or stuck it is "
          "found out") {
    const auto rows = test::reference_rows("data/quadrotor_vertical/IMU_1.csv");
    constexpr std::array<std::size_t, 3> kAccel{4, 5, 6};
    const auto from_1 = axes(rows, kAccel, 2200, 2560), from_2 = axes(rows, kAccel, 2560, 2920);
    const Survival same = compare_accelerometer(from_1, from_2, 360, {});
    INFO("shift " << same.shift << ", p " << same.shift_p << ", noise " << same.noise_ratio);
    CHECK(same.state == SensorState::well);
    CHECK(compare_accelerometer(from_1, axes(rows, kAccel, 2560, 2920, 1.9), 360, {}).state != SensorState::well);
    Axes stuck = from_2;
    stuck[2].assign(stuck[2].size(), stuck[2].front());
    CHECK(compare_accelerometer(from_1, stuck, 360, {}).state == SensorState::stuck);
}
