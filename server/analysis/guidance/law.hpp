#pragma once
/// A control law of one axis, as protocol/schema/law.schema.json has it. It is tried along recorded flights; nothing in
/// this tree can send its commands to a vehicle.
#include <limits>
#include <string>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "shared/json_reader.hpp"
#include "shared/vehicle.hpp"
#include "shared/words.hpp"

namespace turnstone::analysis {

enum class LawForm : unsigned char { pid, state_feedback };
consteval auto words_of(LawForm) {
    return words<LawForm::state_feedback>("pid", "state_feedback");
}

/// Body rates, and their integrals since liftoff: an axis each two.
enum class LawState : unsigned char { roll_radps, roll_rad, pitch_radps, pitch_rad, yaw_radps, yaw_rad };
consteval auto words_of(LawState) {
    return words<LawState::yaw_rad>("roll_radps", "roll_rad", "pitch_radps", "pitch_rad", "yaw_radps", "yaw_rad");
}

struct Law {
    std::string name;
    LawForm form = LawForm::pid;
    LawState state = LawState::roll_radps;
    double kp = 0, ki = 0, kd = 0;
    double derivative_filter_s = 0.02;
    double angle = 0, rate = 0; ///< of state feedback
    double reference = 0;
    double period_s = 0.01;
    double limit_rad = 0.1;
    double rate_limit_radps = std::numeric_limits<double>::infinity();
    double delay_s = 0;
    double least_q_pa = 0;
    Curve factor; ///< on all gains, against dynamic pressure; empty: 1

    [[nodiscard]] bool of_angle() const { return static_cast<unsigned>(state) % 2 == 1; }
    [[nodiscard]] std::size_t axis() const { return static_cast<std::size_t>(state) / 2; } ///< 0 roll, 1 pitch, 2 yaw
    [[nodiscard]] double factor_at(double q_pa) const { return factor.x.empty() ? 1.0 : factor.at(q_pa); }
};

inline constexpr std::size_t kSchedulePointsMax = 16;

/// Appends every mistake to `problems`; the result is usable only if none was added.
[[nodiscard]] Law read_law(const nlohmann::json& json, const std::string& file, std::vector<Problem>& problems);

} // namespace turnstone::analysis
