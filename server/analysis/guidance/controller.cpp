#include "server/analysis/guidance/controller.hpp"

#include <algorithm>
#include <cmath>

namespace turnstone::analysis {

const Command& Controller::take(double t_s, double rate_radps, double q_pa) {
    if (!begun_) {
        begun_ = true;
        last_s_ = due_s_ = t_s;
    }
    angle_ += rate_radps * (t_s - last_s_);
    last_s_ = t_s;
    rate_sum_ += rate_radps;
    ++rates_;
    if (t_s >= due_s_ - 1e-9) {
        now_ = decide(rate_sum_ / static_cast<double>(rates_), q_pa);
        rate_sum_ = 0;
        rates_ = 0;
        // A record's gap is not made up for by a burst of decisions.
        due_s_ = std::max(due_s_ + law_.period_s, t_s);
        on_its_way_.push_back({t_s + law_.delay_s, now_.limited_rad});
    }
    return now_;
}

double Controller::leaving_rad(double t_s) {
    for (; !on_its_way_.empty() && on_its_way_.front().t_s <= t_s + 1e-9; on_its_way_.pop_front())
        out_ = on_its_way_.front().limited_rad;
    return out_;
}

Command Controller::decide(double rate, double q_pa) {
    Command out;
    if (!(q_pa >= law_.least_q_pa)) {
        integral_ = 0;
        sloped_ = false;
        return out;
    }
    const double factor = law_.factor_at(q_pa);
    if (law_.form == LawForm::state_feedback) {
        out.wished_rad = factor * (law_.angle * (law_.reference - angle_) - law_.rate * rate);
    } else {
        const double error = law_.reference - (law_.of_angle() ? angle_ : rate);
        if (!sloped_) filtered_ = error;
        sloped_ = true;
        const double slope = (error - filtered_) / law_.derivative_filter_s;
        filtered_ += (error - filtered_) * (1 - std::exp(-law_.period_s / law_.derivative_filter_s));
        const double moved = integral_ + law_.ki * error * law_.period_s;
        const double wish = factor * (law_.kp * error + moved + law_.kd * slope);
        if (std::abs(wish) <= law_.limit_rad || std::abs(moved) < std::abs(integral_)) integral_ = moved;
        out.wished_rad = factor * (law_.kp * error + integral_ + law_.kd * slope);
    }
    const double within = std::clamp(out.wished_rad, -law_.limit_rad, law_.limit_rad);
    out.saturated = within != out.wished_rad;
    const double most = law_.rate_limit_radps * law_.period_s;
    out.limited_rad = std::clamp(within, now_.limited_rad - most, now_.limited_rad + most);
    out.rate_used = out.limited_rad != within;
    return out;
}

} // namespace turnstone::analysis
