// States carried on over a pause between two packets, against the kinematics of a constant acceleration.
#include <catch2/catch.hpp>

#include <cmath>

#include "server/estimate/navigation/carried.hpp"
#include "shared/constants.hpp"
#include "shared/time.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using Eigen::Vector3d;

namespace {

constexpr double kRate_hz = 200;

/// Nose up on the pad for twenty seconds, then thrust for a second, then, after burnout, drag for another.
struct VerticalFlight {
    explicit VerticalFlight(const SensorNoise& sensors, const Site& site) : navigation(sensors, site) {}
    void go_on(double for_s, double up_mps2) {
        for (double until_s = t_s + for_s; t_s < until_s - 0.5 / kRate_hz; t_s += 1 / kRate_hz) {
            ImuSample sample{};
            sample.t_ns = seconds_to_ns(t_s);
            sample.accel_body_mps2 = {kGravityStandard_mps2 + up_mps2, 0, 0};
            sample.rate_body_radps = Vector3d::Zero();
            navigation.imu(sample);
        }
    }
    Navigation navigation;
    double t_s = 1;
};

} // namespace

TEST_CASE("in a pause between packets a vehicle goes on with the thrust or drag that it last felt") {
    Site site{};
    site.launch_azimuth_deg = 0;
    struct Case {
        Motion motion;
        double acceleration_mps2;
    };
    for (const Case& c :
         {Case{Motion::boost, 40}, Case{Motion::boost, 110}, Case{Motion::coast, -15}, Case{Motion::coast, -60}}) {
        VerticalFlight flight(SensorNoise{}, site);
        flight.navigation.set_motion(Motion::rest);
        flight.go_on(20, 0);
        flight.navigation.set_motion(Motion::boost);
        flight.go_on(1, c.motion == Motion::boost ? c.acceleration_mps2 : 100);
        flight.navigation.set_motion(c.motion);
        if (c.motion == Motion::coast) flight.go_on(1, c.acceleration_mps2);
        REQUIRE(flight.navigation.moving());
        const NavigationEstimate last = flight.navigation.estimate();
        for (const double later_s : {0.1, 0.2, 0.3}) {
            CAPTURE(c.acceleration_mps2, later_s);
            const CarriedNavigation carried =
                carried_to(last.t_ns + seconds_to_ns(later_s), flight.navigation, c.motion);
            const double faster_mps = carried.estimate.velocity_enu_mps.z() - last.velocity_enu_mps.z();
            const double higher_m = carried.estimate.position_enu_m.z() - last.position_enu_m.z();
            const double expected_mps = later_s * c.acceleration_mps2;
            const double expected_m = later_s * last.velocity_enu_mps.z() + 0.5 * later_s * expected_mps;
            // Singer's process lets it fade, by a seventh at most here.
            CHECK(faster_mps == Approx(expected_mps).epsilon(0.15));
            CHECK(higher_m == Approx(expected_m).epsilon(0.015));
            CHECK(carried.estimate.velocity_sigma_mps.z() > std::abs(faster_mps - expected_mps));
            CHECK(carried.covariance(5, 5) == Approx(std::pow(carried.estimate.velocity_sigma_mps.z(), 2)));
        }
    }
}
