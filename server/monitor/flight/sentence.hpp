#pragma once
/// The sentence under the header of every view: the state of a flight in plain words, or what is wrong with it.
///
/// A sentence is parts first, a form and its figures as they are said, and its text is made from them alone. Figures
/// are rounded to their 1-sigma, a place that is predicted to 10 m and 5°, one that was found to 1 m and 1°, and a
/// figure that was said stays until the new one differs by more than rounding. A caution or warning leads the sentence.
///
///     on_the_rail    On the rail. Liftoff not seen.
///     under_thrust   Under thrust. 959 m AGL, climbing 154 m/s.
///     coasting       Coasting. Apogee about 1107 m in 5 s.
///     under_drogue   Under drogue. 612 m AGL, falling 24 m/s. Main due in 18 s.
///     down           Down 114 m from the pad at 116°. Apogee 1108 m.
///     no_signal      No signal for 15 s. No parachute seen, impact expected 9 s ago, 340 m at 245°.
///     no_parachute   No parachute seen. 550 m, falling 93 m/s, impact in 5 s, 340 m at 245°. Heads up.
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "server/estimate/event.hpp"
#include "server/monitor/flight/deployment_watch.hpp"
#include "server/monitor/flight/flight_view.hpp"
#include "shared/vehicle.hpp"

namespace turnstone {

enum class SentenceForm : unsigned char {
    no_data,   ///< nothing was ever received
    reporting, ///< a vehicle without phases
    on_the_rail,
    on_the_stand, ///< at rest, lying
    under_thrust,
    coasting,
    falling,
    under_drogue,
    under_main,
    down,
    presumed_down,
    no_signal, ///< nothing received for seconds
    no_parachute
};
consteval auto words_of(SentenceForm) {
    return words<SentenceForm::no_parachute>("no_data", "reporting", "on_the_rail", "on_the_stand", "under_thrust",
                                             "coasting", "falling", "under_drogue", "under_main", "down",
                                             "presumed_down", "no_signal", "no_parachute");
}

/// What is said, from its parts: "form" and figures. A part that is missing is not spoken of.
[[nodiscard]] std::string sentence_text(const EventValues& parts);

class Sentence {
  public:
    /// Figures alone change a sentence this often at most; another form or level at once. Of a vehicle that moves fast
    /// they change more often, so that they do not fall behind the figures beside them.
    static constexpr double kPeriod_s = 1.0, kPeriodFast_s = 0.3;
    static constexpr double kFast_mps = 20.0;

    explicit Sentence(const Vehicle& vehicle);

    /// At a tick: the sentence, if it is another than the one before. `alert`: the most urgent of the vehicle or the
    /// station, if any; advisories and notes change nothing.
    [[nodiscard]] std::optional<EstimateEvent> next(const FlightView& view, const DeploymentWatch& deployment,
                                                    const Event* alert);

    /// The newest one, said by a pipeline that flew every prediction.
    void recall(const Event& said);

  private:
    class Parts;

    void say_motion(const FlightView& view, Parts& parts) const;
    void say_state(const FlightView& view, const DeploymentWatch& deployment, Parts& parts) const;
    bool say_past_impact(const FlightView& view, const DeploymentWatch& deployment, Parts& parts) const;
    void say_next_parachute(const DeploymentFigures& figures, Parts& parts) const;
    [[nodiscard]] SentenceForm form_of(const FlightView& view, const Event* alert) const;

    std::vector<std::string> parachutes_; ///< names, in order of use
    EventValues said_, made_;             ///< the newest sentence; the one in the making
    std::string said_text_, led_by_;      ///< its text, and the key of the alert in it
    SentenceForm form_ = SentenceForm::no_data;
    Level level_ = Level::note;
    std::int64_t t_made_ns_ = 0; ///< when one was made last, whether it was said or not
};

} // namespace turnstone
