/// Rotation of the simulator against tests/reference/numerics/sixdof.json: closed forms of Goldstein,
/// Classical Mechanics, ch. 5, and Landau and Lifshitz, Mechanics, par. 36-37, and solve_ivp DOP853 at 1e-12.
/// Tolerances are those the file gives for RK4 with 1 ms steps.
#include <cmath>

#include "tests/sim/support.hpp"

using namespace turnstone;
using namespace turnstone::sim;

namespace {

/// A free body with a body torque that may depend on time and rate.
template <class Torque>
BodyState spin_to(BodyState state, double from_s, double to_s, double step_s, const Eigen::Vector3d& inertia,
                  const Torque& torque) {
    const auto rate_of = [&](double t_s, const BodyState& s) {
        BodyRate rate{};
        rate.velocity_enu_mps.setZero();
        rate.accel_enu_mps2.setZero();
        rate.specific_force_body_mps2.setZero();
        rate.q_dot = quaternion_rate(s.q_local_body, s.rate_body_radps);
        rate.rate_dot_body_radps2 = euler_rate(inertia, s.rate_body_radps, torque(t_s, s.rate_body_radps));
        return rate;
    };
    const auto steps = static_cast<int>(std::lround((to_s - from_s) / step_s));
    Eigen::Vector3d unused;
    for (int i = 0; i < steps; ++i) state = rk4_step(state, from_s + i * step_s, step_s, rate_of, unused);
    return state;
}

constexpr auto kNoTorque = [](double, const Eigen::Vector3d&) { return Eigen::Vector3d(0.0, 0.0, 0.0); };

} // namespace

TEST_CASE("Torque-free rotation follows the closed forms and keeps energy and momentum") {
    std::size_t checked = 0;
    for (const char* kind : {"torque_free_axisymmetric", "torque_free_asymmetric"}) {
        for (const nlohmann::json& entry : reference_cases("numerics/sixdof.json", kind)) {
            INFO(entry.at("id"));
            const nlohmann::json& inputs = entry.at("inputs");
            const Eigen::Vector3d inertia = vector_of(inputs.at("inertia_principal_kg_m2"));
            BodyState state;
            state.q_local_body = quaternion_of(inputs.at("q0_wxyz"));
            state.rate_body_radps = vector_of(inputs.at("w0_body_rad_s"));
            double t_s = 0.0;
            const nlohmann::json& rows = entry.at("expected").at("rows");
            const double energy0 = rows.at(0).at(8);
            const Eigen::Vector3d momentum0 = vector_of(rows.at(0), 9);
            for (const nlohmann::json& row : rows) {
                const double to_s = row.at(0);
                state = spin_to(state, t_s, to_s, 0.001, inertia, kNoTorque);
                t_s = to_s;
                CHECK(distance(state.q_local_body, quaternion_of(row, 1)) < 1e-6);
                CHECK((state.rate_body_radps - vector_of(row, 5)).cwiseAbs().maxCoeff() < 1e-6);
                const Eigen::Vector3d momentum_body = inertia.cwiseProduct(state.rate_body_radps);
                CHECK(std::abs(0.5 * state.rate_body_radps.dot(momentum_body) / energy0 - 1.0) < 1e-8);
                CHECK((state.q_local_body * momentum_body - momentum0).norm() < 1e-8 * momentum0.norm());
                ++checked;
            }
        }
    }
    CHECK(checked >= 60);
}

TEST_CASE("A constant body torque on a spinning body follows the closed form") {
    for (const nlohmann::json& entry : reference_cases("numerics/sixdof.json", "spinning_with_body_torque")) {
        const nlohmann::json& inputs = entry.at("inputs");
        const Eigen::Vector3d torque = vector_of(inputs.at("torque_body_Nm"));
        BodyState state;
        state.q_local_body = quaternion_of(inputs.at("q0_wxyz"));
        state.rate_body_radps = vector_of(inputs.at("w0_body_rad_s"));
        double t_s = 0.0;
        for (const nlohmann::json& row : entry.at("expected").at("rows")) {
            const double to_s = row.at(0);
            state = spin_to(state, t_s, to_s, 0.001, vector_of(inputs.at("inertia_principal_kg_m2")),
                            [&](double, const Eigen::Vector3d&) -> Eigen::Vector3d { return Eigen::Vector3d(torque); });
            t_s = to_s;
            CHECK(distance(state.q_local_body, quaternion_of(row, 1)) < 1e-6);
            CHECK((state.rate_body_radps - vector_of(row, 5)).cwiseAbs().maxCoeff() < 1e-6);
        }
    }
}

TEST_CASE("Roll with damping and canted fins settles as a first-order system") {
    std::size_t cases = 0;
    for (const nlohmann::json& entry : reference_cases("numerics/sixdof.json", "roll_closed_form")) {
        const nlohmann::json& inputs = entry.at("inputs");
        const double damping = inputs.at("Lp_1_s");
        const double drive = inputs.at("Ld_1_s2").get<double>() * inputs.at("delta_rad").get<double>();
        BodyState state;
        state.rate_body_radps.x() = inputs.at("p0_rad_s");
        double t_s = 0.0;
        for (std::size_t i = 0; i < inputs.at("t_s").size(); ++i) {
            const double to_s = inputs.at("t_s").at(i);
            state = spin_to(state, t_s, to_s, 0.001, Eigen::Vector3d::Ones(), [&](double, const Eigen::Vector3d& w) {
                return Eigen::Vector3d(damping * w.x() + drive, 0.0, 0.0);
            });
            t_s = to_s;
            CHECK(state.rate_body_radps.x() ==
                  Approx(entry.at("expected").at("p_rad_s").at(i).get<double>()).margin(1e-9));
            const double half_angle = 0.5 * entry.at("expected").at("roll_angle_rad").at(i).get<double>();
            CHECK(distance(state.q_local_body, {std::cos(half_angle), std::sin(half_angle), 0.0, 0.0}) < 1e-6);
        }
        ++cases;
    }
    CHECK(cases == 2);
}

TEST_CASE("A damped pitch oscillation follows the second-order closed form") {
    for (const nlohmann::json& entry : reference_cases("numerics/sixdof.json", "pitch_oscillation_closed_form")) {
        const nlohmann::json& inputs = entry.at("inputs");
        const double inertia = inputs.at("inertia_kg_m2");
        const double stiffness = inputs.at("restoring_Nm_per_rad");
        const double damping = inputs.at("damping_Nms_per_rad");
        // Turning about body y alone, the angle is twice the quaternion's.
        const double angle0 = inputs.at("angle0_rad");
        BodyState state;
        state.q_local_body = Eigen::Quaterniond(std::cos(0.5 * angle0), 0.0, std::sin(0.5 * angle0), 0.0);
        double t_s = 0.0;
        for (std::size_t i = 0; i < inputs.at("t_s").size(); ++i) {
            const double to_s = inputs.at("t_s").at(i);
            Eigen::Vector3d unused;
            const auto rate_of = [&](double, const BodyState& s) {
                BodyRate rate{};
                rate.velocity_enu_mps.setZero();
                rate.accel_enu_mps2.setZero();
                rate.specific_force_body_mps2.setZero();
                const double angle = 2.0 * std::atan2(s.q_local_body.y(), s.q_local_body.w());
                rate.q_dot = quaternion_rate(s.q_local_body, s.rate_body_radps);
                rate.rate_dot_body_radps2 =
                    euler_rate(Eigen::Vector3d::Constant(inertia), s.rate_body_radps,
                               {0.0, -stiffness * angle - damping * s.rate_body_radps.y(), 0.0});
                return rate;
            };
            for (int k = 0, n = static_cast<int>(std::lround((to_s - t_s) / 0.001)); k < n; ++k)
                state = rk4_step(state, 0.0, 0.001, rate_of, unused);
            t_s = to_s;
            const double angle = 2.0 * std::atan2(state.q_local_body.y(), state.q_local_body.w());
            CHECK(angle == Approx(entry.at("expected").at("angle_rad").at(i).get<double>()).margin(1e-9));
            CHECK(state.rate_body_radps.y() ==
                  Approx(entry.at("expected").at("rate_rad_s").at(i).get<double>()).margin(1e-9));
        }
    }
}

TEST_CASE("Quaternion kinematics under given rates agree with an independent integration") {
    // w(t) = [6+2 sin(1.5 t), 0.8 cos(3 t), -0.5+0.6 sin(2 t+0.4)], as the case states it.
    const auto rate_at = [](double t) {
        return Eigen::Vector3d(6.0 + 2.0 * std::sin(1.5 * t), 0.8 * std::cos(3.0 * t),
                               -0.5 + 0.6 * std::sin(2.0 * t + 0.4));
    };
    for (const nlohmann::json& entry : reference_cases("numerics/sixdof.json", "quaternion_kinematics")) {
        BodyState state;
        state.q_local_body = quaternion_of(entry.at("inputs").at("q0_wxyz"));
        Eigen::Vector3d unused;
        double t_s = 0.0;
        for (std::size_t i = 0; i < entry.at("inputs").at("t_s").size(); ++i) {
            const double to_s = entry.at("inputs").at("t_s").at(i);
            const auto rate_of = [&](double t, const BodyState& s) {
                BodyRate rate{};
                rate.velocity_enu_mps.setZero();
                rate.accel_enu_mps2.setZero();
                rate.rate_dot_body_radps2.setZero();
                rate.specific_force_body_mps2.setZero();
                rate.q_dot = quaternion_rate(s.q_local_body, rate_at(t));
                return rate;
            };
            const double begin_s = t_s;
            for (int k = 0, n = static_cast<int>(std::lround((to_s - begin_s) / 0.001)); k < n; ++k)
                state = rk4_step(state, begin_s + k * 0.001, 0.001, rate_of, unused);
            t_s = to_s;
            CHECK(distance(state.q_local_body, quaternion_of(entry.at("expected").at("q_wxyz").at(i))) < 1e-6);
        }
    }
}
