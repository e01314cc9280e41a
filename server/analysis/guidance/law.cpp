#include "server/analysis/guidance/law.hpp"

#include <nlohmann/json.hpp>

namespace turnstone::analysis {

namespace {

constexpr double kGainMost = 1e6;

template <HasWords Enum>
std::vector<std::string_view> all_words() {
    return {kWords<Enum>.begin(), kWords<Enum>.end()};
}

void read_gains(JsonReader& reader, Law& law) {
    auto gains = reader.object("gains");
    if (!gains) return;
    if (law.form == LawForm::pid) {
        law.kp = gains->number("kp", -kGainMost, kGainMost);
        law.ki = gains->number_or("ki", -kGainMost, kGainMost, law.ki);
        law.kd = gains->number_or("kd", -kGainMost, kGainMost, law.kd);
        law.derivative_filter_s = gains->number_or("derivative_filter_s", 1e-3, 10, law.derivative_filter_s);
    } else {
        law.angle = gains->number("angle", -kGainMost, kGainMost);
        law.rate = gains->number("rate", -kGainMost, kGainMost);
    }
    gains->finish();
}

} // namespace

Law read_law(const nlohmann::json& json, const std::string& file, std::vector<Problem>& problems) {
    JsonReader reader(json, file, problems);
    Law law;
    reader.ignore("$schema");
    law.name = reader.text_or("name", "");
    law.form = static_cast<LawForm>(reader.choice("form", all_words<LawForm>()));
    law.state = static_cast<LawState>(reader.choice("state", all_words<LawState>()));
    if (law.form == LawForm::state_feedback && !law.of_angle())
        reader.problem_at("state", "is a rate", "state_feedback takes an angle: roll_rad, pitch_rad or yaw_rad");
    read_gains(reader, law);
    law.reference = reader.number_or("reference", -1e3, 1e3, law.reference);
    law.period_s = reader.number_or("period_s", 1e-3, 1, law.period_s);
    law.limit_rad = reader.number("limit_rad", 1e-4, 1.6);
    law.rate_limit_radps = reader.number_or("rate_limit_radps", 1e-3, 1e3, law.rate_limit_radps);
    law.delay_s = reader.number_or("delay_s", 0, 1, law.delay_s);
    law.least_q_pa = reader.number_or("least_q_pa", 0, 1e7, law.least_q_pa);
    for (JsonReader& point : reader.array_if("schedule", kSchedulePointsMax)) {
        const double q_pa = point.number("q_pa", 0, 1e7);
        if (!law.factor.x.empty() && q_pa <= law.factor.x.back())
            point.problem_at("q_pa", "is not above the one before", "list dynamic pressures ascending");
        law.factor.x.push_back(q_pa);
        law.factor.y.push_back(point.number("factor", 0, 1e3));
        point.finish();
    }
    reader.finish();
    return law;
}

} // namespace turnstone::analysis
