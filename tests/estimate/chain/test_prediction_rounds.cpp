// Rounds of predictions: from which states one starts, and how long it takes whatever comes how often.
#include <catch2/catch.hpp>

#include <cmath>
#include <optional>

#include "server/estimate/chain/prediction_rounds.hpp"
#include "shared/time.hpp"
#include "tests/estimate/prediction/motorless.hpp"

using namespace turnstone;
using namespace turnstone::estimate;

namespace {

struct Round {
    std::optional<Prediction> made;
    double after_s = 0; ///< from the first tick
    PredictionRefusal refusal = PredictionRefusal::none;
};

RocketModel motorless() {
    RocketModel rocket = test::motorless(3, 0.005, 0.5);
    rocket.body_diameter_m = 0.08;
    return rocket;
}

/// Two seconds of ticks with a coasting vehicle's state, and an inertial sample each `imu_period_s` (0: none).
Round round_from(const VerticalEstimate& state, double imu_period_s) {
    const RocketModel rocket = motorless();
    const Site site{};
    const DayAtmosphere air{PadReference{}};
    WindProfile wind(site);
    PredictionRounds rounds(rocket, site);
    FlightPicture picture;
    picture.atmosphere = &air;
    picture.wind = &wind;
    picture.phase.phase = Phase::coasting;
    picture.vertical = state;
    constexpr std::int64_t kBegan_ns = 1'000'000'000'000;
    double next_imu_s = 0;
    for (int tick = 0; tick <= 20; ++tick) {
        const double t_s = 0.1 * tick;
        for (; imu_period_s > 0 && next_imu_s < t_s; next_imu_s += imu_period_s)
            if (auto made = rounds.imu({kBegan_ns + seconds_to_ns(next_imu_s), {0, 0, 0}, {0, 0, 0}}, picture))
                return {made, next_imu_s, rounds.asked().refusal};
        picture.vertical.t_ns = kBegan_ns + seconds_to_ns(t_s);
        if (auto made = rounds.tick(picture.vertical.t_ns, picture, nullptr, wind))
            return {made, t_s, rounds.asked().refusal};
    }
    return {.made = {}, .refusal = rounds.asked().refusal};
}

VerticalEstimate coasting(double altitude_m, double speed_mps, double altitude_sigma_m = 1,
                          double speed_sigma_mps = 1) {
    VerticalEstimate state;
    state.valid = true;
    state.altitude_m = altitude_m;
    state.altitude_sigma_m = altitude_sigma_m;
    state.vertical_speed_mps = speed_mps;
    state.vertical_speed_sigma_mps = speed_sigma_mps;
    return state;
}

/// Under a parachute, in a wind of 5 m/s to the east as the site file says, which flights teach.
struct Descent {
    explicit Descent(Phase phase) : rounds(motorless(), site) {
        picture.atmosphere = &air;
        picture.wind = &wind;
        picture.phase.phase = phase;
        picture.translation.valid = true;
        picture.translation.covariance.setZero();
        picture.translation.covariance.diagonal().head<6>().setConstant(0.01);
    }
    void at(double t_s, const Eigen::Vector3d& position_m, const Eigen::Vector3d& velocity_mps) {
        picture.translation.t_ns = 1'000'000'000'000 + seconds_to_ns(t_s);
        picture.translation.position_enu_m = position_m;
        picture.translation.velocity_enu_mps = velocity_mps;
        static_cast<void>(rounds.tick(picture.translation.t_ns, picture, nullptr, wind));
    }

    Site site = [] {
        Site out{};
        out.wind = {{.height_m = 0, .speed_mps = 5, .from_deg = 270}};
        return out;
    }();
    DayAtmosphere air{PadReference{}};
    WindProfile wind{site};
    PredictionRounds rounds;
    FlightPicture picture;
};

} // namespace

TEST_CASE("a prediction is ready within half a second, at any rate of samples and at none") {
    for (const double imu_period_s : {0.0, 1.0, 0.2, 0.02, 0.005}) {
        INFO(imu_period_s << " s");
        const Round round = round_from(coasting(300, 100), imu_period_s);
        REQUIRE(round.made);
        CHECK(round.made->apogee_m > 300);
        CHECK(round.after_s <= 0.5);
    }
}

TEST_CASE("no prediction starts from a state that is none of a flight, and why is said") {
    using enum PredictionRefusal;
    const double unknown = std::nan("");
    const std::pair<VerticalEstimate, PredictionRefusal> states[] = {
        {coasting(1e6, 100), too_high},
        {coasting(300, 1e5), too_fast},
        {coasting(unknown, 100), state_unknown},
        {coasting(300, unknown), state_unknown},
        {coasting(300, 100, 1e5, 1), state_unknown},
        {coasting(300, 100, 1, 5000), state_unknown},
        {coasting(300, 100, unknown, 1), state_unknown},
    };
    for (const auto& [state, why] : states) {
        INFO(state.altitude_m << " m, " << state.vertical_speed_mps << " m/s");
        const Round round = round_from(state, 0.02);
        CHECK_FALSE(round.made);
        CHECK(round.refusal == why);
    }
    CHECK(round_from(coasting(300, 100), 0.02).refusal == none);
}

TEST_CASE("what is left of a vehicle's own way under its drogue is not taken for wind") {
    Descent descent(Phase::under_drogue);
    // The wind is what the site file says; the vehicle flew north at 20 m/s when its drogue opened, and falls at 22
    // m/s.
    constexpr double kRate_mps = 22, kOwn_mps = 20, kLeast_s = 4;
    for (double t_s = 0; t_s < kLeast_s + 2; t_s += 0.1) {
        descent.at(t_s, {5 * t_s, 0, 1000 - kRate_mps * t_s},
                   {5, kOwn_mps * std::exp(-9.80665 * t_s / kRate_mps), -kRate_mps});
    }
    CHECK(std::abs(descent.wind.at(900).y()) < 0.5 * descent.wind.sigma_mps(900));
    CHECK(descent.wind.at(900).x() == Approx(5).margin(0.2));
}

TEST_CASE("a vehicle that lies on the ground shows no calm, though nobody saw it touch down yet") {
    Descent descent(Phase::under_main);
    // Down with the wind at 6 m/s, and then at rest.
    constexpr double kFalls_s = 12, kRate_mps = 6;
    for (double t_s = 0; t_s < kFalls_s + 9; t_s += 0.1) {
        const double falls = t_s < kFalls_s ? 1 : 0;
        descent.at(t_s, {5 * std::min(t_s, kFalls_s), 0, falls * kRate_mps * (kFalls_s - t_s)},
                   falls * Eigen::Vector3d(5, 0, -kRate_mps));
    }
    CHECK(descent.wind.at(0).x() == Approx(5).margin(0.2));
}
