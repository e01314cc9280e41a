// Rotations against tests/reference/numerics/attitude.json (scipy Rotation and 40-digit elements; conventions in the
// file).
#include <catch2/catch.hpp>

#include <map>
#include <string>

#include "server/estimate/math/rotation.hpp"
#include "server/estimate/navigation/eskf.hpp"
#include "tests/support/attitude.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using namespace turnstone::estimate;
using namespace turnstone::test;
using Eigen::Quaterniond;
using Eigen::Vector3d;

namespace {

const nlohmann::json& attitudes() {
    return read_reference("numerics/attitude.json");
}

} // namespace

TEST_CASE("rotations agree with the reference in every convention") {
    std::map<std::string, int> checked;
    for (const auto& c : attitudes()["cases"]) {
        const std::string kind = c["kind"];
        INFO(c["id"]);
        if (kind == "rotvec_exp_log") {
            const Vector3d vector = vector_of(c["inputs"]["rotvec_rad"]);
            const Quaterniond q = quaternion_from_rotation_vector(vector);
            CHECK(distance(q, quaternion_of(c["expected"]["q_wxyz"])) < 1e-12);
            // The logarithm is the shorter way round; half a turn has two.
            const Vector3d back = rotation_vector_from_quaternion(q);
            CHECK(distance(quaternion_from_rotation_vector(back), q) < 1e-12);
            CHECK(back.norm() <= 3.14159265358979323846 + 1e-12);
            if (vector.norm() < 3.14159) CHECK((back - vector).norm() < 1e-12);
        } else if (kind == "conversion") {
            const Quaterniond q = quaternion_of(c["expected"]["q_wxyz"]);
            CHECK(
                (q * vector_of(c["expected"]["rotated_body_vector"]) - vector_of(c["expected"]["rotated_local_vector"]))
                    .norm() < 1e-11);
            CHECK((q.conjugate() * vector_of(c["expected"]["rotated_local_vector"]) -
                   vector_of(c["expected"]["rotated_body_vector"]))
                      .norm() < 1e-11);
            for (const auto& same : {q, Quaterniond(-q.coeffs())}) {
                CHECK(rotation_vector_from_quaternion(same).norm() ==
                      Approx(c["expected"]["angle_rad"].get<double>()).margin(1e-11));
            }
        } else if (kind == "composition") {
            const Quaterniond ab = quaternion_of(c["inputs"]["q_ab_wxyz"]);
            const Quaterniond bc = quaternion_of(c["inputs"]["q_bc_wxyz"]);
            CHECK(distance(ab * bc, quaternion_of(c["expected"]["q_ac_wxyz"])) < 1e-12);
            CHECK(rotation_vector_from_quaternion(ab.conjugate() * bc).norm() ==
                  Approx(c["expected"]["angle_between_rad"].get<double>()).margin(1e-11));
        } else if (kind == "constant_rate") {
            const Quaterniond q0 = quaternion_of(c["inputs"]["q0_wxyz"]);
            const Vector3d rate = vector_of(c["inputs"]["body_rate_rad_s"]);
            for (std::size_t k = 0; k < c["inputs"]["t_s"].size(); ++k) {
                const double t_s = c["inputs"]["t_s"][k];
                CHECK(distance(q0 * quaternion_from_rotation_vector(rate * t_s),
                               quaternion_of(c["expected"]["q_wxyz"][k])) < 1e-11);
            }
        } else if (kind == "tilt") {
            const Quaterniond q = quaternion_of(c["inputs"]["q_wxyz"]);
            CHECK((q * Vector3d::UnitX() - vector_of(c["expected"]["nose_enu"])).norm() < 1e-11);
            const Quaterniond nose = shortest_rotation(Vector3d::UnitX(), vector_of(c["expected"]["nose_enu"]));
            CHECK((nose * Vector3d::UnitX() - vector_of(c["expected"]["nose_enu"])).norm() < 1e-7);
        } else {
            continue;
        }
        ++checked[kind];
    }
    CHECK(checked["rotvec_exp_log"] >= 5);
    CHECK(checked["conversion"] >= 5);
    CHECK(checked["composition"] >= 3);
    CHECK(checked["constant_rate"] >= 1);
    CHECK(checked["tilt"] >= 5);
}

TEST_CASE("the filter's mechanisation follows a coning motion as closely as its method allows") {
    // Coning has an exact solution; a method that takes each increment for a rotation vector drifts by the coning rate,
    // and the previous-sample term of Savage (1998) removes most of it. The file gives both drifts.
    int checked = 0;
    for (const auto& c : attitudes()["cases"]) {
        if (c["kind"] != "coning") continue;
        INFO(c["id"]);
        const auto& in = c["inputs"];
        const double half_angle = in["half_angle_deg"].get<double>() * 3.14159265358979323846 / 180;
        const double w = 2 * 3.14159265358979323846 * in["frequency_Hz"].get<double>();
        const double dt = in["dt_s"];
        const double duration = in["duration_s"];
        Eskf filter({0, 0, 0, 0});
        EskfNominal start;
        start.q_local_body = quaternion_of(c["expected"]["q_wxyz"][0]);
        filter.reset(start, Eskf::Covariance::Identity() * 1e-6);
        Quaterniond plain = start.q_local_body;
        const auto steps = std::lround(duration / dt);
        for (long k = 0; k < steps; ++k) {
            const double t0 = static_cast<double>(k) * dt;
            const double t1 = static_cast<double>(k + 1) * dt;
            const Vector3d angle(std::sin(half_angle) * (std::cos(w * t1) - std::cos(w * t0)),
                                 std::sin(half_angle) * (std::sin(w * t1) - std::sin(w * t0)),
                                 w * (std::cos(half_angle) - 1) * dt);
            filter.predict({0, 0, 0}, angle / dt, dt);
            plain = plain * quaternion_from_rotation_vector(angle);
        }
        const Quaterniond truth = quaternion_of(c["expected"]["q_wxyz"].back());
        const auto error = [&](const Quaterniond& q) {
            return rotation_vector_from_quaternion(q.conjugate() * truth).norm();
        };
        CAPTURE(error(plain), error(filter.nominal().q_local_body), w * dt);
        if (w * dt < 0.7) // below a ninth of the sample rate the correction works as its series says
            CHECK(error(filter.nominal().q_local_body) < 0.2 * error(plain) + 1e-6);
        ++checked;
    }
    REQUIRE(checked >= 3);
}

TEST_CASE("the shortest rotation takes one direction to the other about an axis across both") {
    // By the definition: R a / |a| = b / |b|, and the turn is the angle between them.
    const Vector3d x(1, 0, 0), y(0, 1, 0), z(0, 0, 1), odd(0.3, -2, 0.7), close(1, 1e-9, 0);
    for (const auto& [from, to] : {std::pair{x, z},
                                   {x, odd},
                                   {odd, y},
                                   {x, x},
                                   {x, close},
                                   {z, Vector3d(-z)},
                                   {x, Vector3d(-x)},
                                   {odd, Vector3d(-2 * odd)},
                                   {y, Vector3d(1e-7, -1, 0)}}) {
        INFO(from.transpose() << " to " << to.transpose());
        const Quaterniond q = shortest_rotation(from, to);
        CHECK(q.norm() == Approx(1).epsilon(1e-12));
        CHECK((q * from.normalized() - to.normalized()).norm() < 1e-9);
        const double between = std::atan2(from.cross(to).norm(), from.dot(to));
        CHECK(rotation_vector_from_quaternion(q).norm() == Approx(between).margin(1e-6));
    }
}
