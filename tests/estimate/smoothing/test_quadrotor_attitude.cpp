// The attitude filter and its backward pass on a real quadrotor's flight (tests/reference/data/SOURCES.md), which
// leans by up to 22 degrees to fly: accelerometer and gyro with the airframe's vibration and a fix each second, against
// the attitude that the sensor's own filter gives with its magnetometer, which the filter under test is not told. The
// quadrotor's own computer measured its attitude too: the two differ by 0.4 and 1.1 degrees of pitch and roll, and by
// 102.8 degrees of heading, of which 90 are how the two are counted.
#include <catch2/catch.hpp>

#include <cmath>
#include <random>
#include <vector>

#include <Eigen/Dense>

#include "server/estimate/math/angles.hpp"
#include "tests/estimate/smoothing/recorded.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone::estimate;
using namespace turnstone::test;
using Eigen::Quaterniond, Eigen::Vector3d;

namespace {

constexpr double kReferenceSigma_rad = 0.02; ///< of what is compared with, about each axis
constexpr double kFirstSigma_rad = 0.1;      ///< of the attitude that the filter begins with
constexpr double kFixAcross_m = 0.1, kFixUp_m = 0.2, kFixSpeed_mps = 0.15;

/// Time, Euler angles Z-Y'-X'' in degrees from level axes, force in m/s2 and rates in degrees a second, ten numbers.
Quaterniond attitude_in(const std::vector<double>& row) {
    constexpr double kHeading_deg = 90 - 102.8;
    return Eigen::AngleAxisd(radians(row[3] + kHeading_deg), Vector3d::UnitZ()) *
           Eigen::AngleAxisd(radians(row[2]), Vector3d::UnitY()) *
           Eigen::AngleAxisd(radians(row[1]), Vector3d::UnitX());
}

Vector3d at(const std::vector<double>& row, std::size_t first) {
    return {row[first], row[first + 1], row[first + 2]};
}

struct Sums {
    double square = 0, nees = 0;
    void add(const ErrorEstimate& estimate, const Quaterniond& reference) {
        const Vector3d off = rotation_vector_from_quaternion(estimate.nominal.q_local_body.conjugate() * reference);
        const Eigen::Matrix3d p = estimate.covariance.block<3, 3>(Eskf::kAttitude, Eskf::kAttitude) +
                                  Eigen::Matrix3d::Identity() * kReferenceSigma_rad * kReferenceSigma_rad;
        square += off.squaredNorm();
        nees += off.dot(p.ldlt().solve(off)) / 3;
    }
};

} // namespace

TEST_CASE("a quadrotor's attitude is found better from both sides, and is as good as it says") {
    const auto imu = reference_rows("data/quadrotor_vertical/IMU_1.csv");
    const auto truth = reference_rows("data/quadrotor_vertical/GT.csv"); // ten a second; north, east, down from 7 on
    const auto place = [&](std::size_t k) { return Vector3d(truth[k][8], truth[k][7], truth[k][6]); };
    const auto velocity = [&](std::size_t k) -> Vector3d {
        return (place(k + 1) - place(k - 1)) / (truth[k + 1][0] - truth[k - 1][0]);
    };
    Sums filter, both;
    int count = 0, stated_worse = 0;
    std::mt19937 random(3);
    std::normal_distribution<double> normal(0, 1);
    for (int begun = 0; begun < 20; ++begun) {
        EskfNominal nominal;
        const double x = normal(random), y = normal(random), z = normal(random);
        nominal.q_local_body =
            attitude_in(imu[0]) * quaternion_from_rotation_vector(kFirstSigma_rad * Vector3d(x, y, z));
        nominal.position_enu_m = place(1);
        nominal.velocity_enu_mps = velocity(1);
        Eskf::ErrorVector sd = Eskf::ErrorVector::Zero();
        sd.head<15>() << Vector3d::Constant(0.3), Vector3d::Constant(0.3), Vector3d::Constant(kFirstSigma_rad),
            Vector3d::Constant(0.5), Vector3d::Constant(0.02);
        // An accelerometer that scatters by 2 m/s2 at 120 Hz, a gyro by 0.02 rad/s.
        Recorded one({2 / std::sqrt(120.0), 0.02 / std::sqrt(120.0), 0.02, 1e-4}, nominal, sd.cwiseAbs2().asDiagonal());
        std::vector<Quaterniond> reference{attitude_in(imu[0])};
        std::size_t next = 11;
        for (std::size_t k = 1; k < imu.size(); ++k) {
            one.filter.predict(at(imu[k], 4), at(imu[k], 7) * M_PI / 180, imu[k][0] - imu[k - 1][0]);
            if (next + 1 >= truth.size() || imu[k][0] < truth[next][0]) continue;
            one.t_ns = static_cast<std::int64_t>(next);
            Eskf::Observation<6> h = Eskf::Observation<6>::Zero();
            h.leftCols<6>().setIdentity();
            Eigen::Matrix<double, 6, 1> innovation, variance;
            innovation << place(next) - one.filter.nominal().position_enu_m,
                velocity(next) - one.filter.nominal().velocity_enu_mps;
            variance << kFixAcross_m * kFixAcross_m, kFixAcross_m * kFixAcross_m, kFixUp_m * kFixUp_m,
                Vector3d::Constant(kFixSpeed_mps * kFixSpeed_mps);
            one.correct<6>(innovation, h, Eigen::Matrix<double, 6, 6>(variance.asDiagonal()));
            reference.push_back(attitude_in(imu[k]));
            next += 10;
        }
        REQUIRE(one.trail.size() == reference.size());
        ErrorEstimate smoothed = one.trail.back()->corrected();
        for (std::size_t k = one.trail.size() - 1; k-- > 0;) {
            smoothed = smoothed_before(*one.trail[k], *one.trail[k + 1], smoothed);
            const ErrorEstimate then = one.trail[k]->corrected();
            const auto trace = [](const ErrorEstimate& of) {
                return of.covariance.block<3, 3>(Eskf::kAttitude, Eskf::kAttitude).trace();
            };
            stated_worse += trace(smoothed) > trace(then) * (1 + 1e-6);
            filter.add(then, reference[k]);
            both.add(smoothed, reference[k]);
            ++count;
        }
    }
    const auto rms_deg = [&](const Sums& sums) { return degrees(std::sqrt(sums.square / count)); };
    CAPTURE(count, rms_deg(filter), rms_deg(both), filter.nees / count, both.nees / count, stated_worse);
    CHECK(count == 20 * 32);
    CHECK(stated_worse == 0);
    CHECK(both.square < 0.5 * filter.square);
    CHECK(both.nees / count < 2);
    CHECK(both.nees / count > 0.35);
}
