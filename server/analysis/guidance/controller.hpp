#pragma once
/// The law as a computer would run it: at its period, its command held in between, late by its delay, within its
/// limits.
#include <deque>

#include "server/analysis/guidance/law.hpp"

namespace turnstone::analysis {

struct Command {
    double wished_rad = 0;  ///< what the gains ask for
    double limited_rad = 0; ///< what is left within deflection and rate limits
    bool saturated = false; ///< held back by the deflection limit
    bool rate_used = false; ///< held back by the rate limit
};

class Controller {
  public:
    explicit Controller(const Law& law) : law_(law) {}

    /// Takes a measured rate at each step of the caller's, which are not longer than the law's period, and decides when
    /// one is due. The angle is the integral of the rates that it was given.
    /// The integral stops while the deflection limit holds the command back and the error would push it further.
    const Command& take(double t_s, double rate_radps, double q_pa);
    /// What is on its way to the fin: the newest decision that is as old as the delay.
    [[nodiscard]] double leaving_rad(double t_s);
    [[nodiscard]] const Law& law() const { return law_; }
    [[nodiscard]] double angle_rad() const { return angle_; }

  private:
    [[nodiscard]] Command decide(double rate, double q_pa);

    struct Decision {
        double t_s;
        double limited_rad;
    };

    Law law_;
    bool begun_ = false, sloped_ = false;
    double last_s_ = 0, due_s_ = 0, angle_ = 0;
    double rate_sum_ = 0;
    std::size_t rates_ = 0; ///< since the last decision
    double integral_ = 0, filtered_ = 0;
    Command now_;
    double out_ = 0;
    std::deque<Decision> on_its_way_;
};

} // namespace turnstone::analysis
