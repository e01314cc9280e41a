#include "server/monitor/flight/flight_watches.hpp"

#include <algorithm>
#include <cmath>

#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr double kSilent_s = 1.0;
/// Receivers of small vehicles lose lock under thrust and find it again while coasting: common practice, no source.
constexpr double kNoFixAfterLiftoff_s = 8.0;
constexpr double kFixAtLiftoff_s = 1.0; ///< an earlier fix is one from the rail
constexpr double kNoFix_s = 10.0;
constexpr double kFound_s = 1.0;
constexpr double kLossy = 0.3; ///< of packets: then fixes and turns go missing with them
/// After a silence it takes this much less until a fix is missed.
constexpr double kFadesLost_s = 4.0;
constexpr double kPositionUnknown_m = 50.0;
constexpr double kAttitudeGone_s = 1.0;
/// A silence that begins so soon after the newest attitude is what ended it, and so are packets that are lost there:
/// turns that were not heard. It stays explained until there is an attitude again.
constexpr double kEndsAttitude_s = 3.0;

} // namespace

void FlightWatches::judge(const FlightView& view, std::vector<Condition>& conditions) {
    if (!view.in_flight()) {
        no_fix_ = lost_ = explained_ = false;
        return;
    }
    const bool silent = view.seconds_since(view.t_received_ns) > kSilent_s;
    judge_fixes(view, silent, conditions);
    judge_attitude(view, conditions);
}

/// Both begin after so long without a fix in what was heard, and end with the next one.
void FlightWatches::judge_fixes(const FlightView& view, bool silent, std::vector<Condition>& conditions) {
    if (!view.sends_fixes || !view.liftoff_ns) return;
    const double since_liftoff_s = seconds_between(*view.liftoff_ns, view.t_ns);
    const double since_fix_s = view.t_fix_ns == 0 ? since_liftoff_s : view.seconds_since(view.t_fix_ns);
    const double since_silence_s = view.t_silence_end_ns == 0 ? since_fix_s : view.seconds_since(view.t_silence_end_ns);
    const double unheard_s =
        silent || view.loss > kLossy ? 0 : std::min({since_fix_s, since_liftoff_s, since_silence_s + kFadesLost_s});
    // What the receiver says itself counts, whatever else is lost.
    const double told_s = view.t_no_fix_ns > view.t_fix_ns ? seconds_between(*view.liftoff_ns, view.t_no_fix_ns) : 0;
    const double without_s = std::max(unheard_s, std::min(told_s, since_fix_s));
    const bool none_since_liftoff = view.t_fix_ns < *view.liftoff_ns + seconds_to_ns(kFixAtLiftoff_s);
    no_fix_ = none_since_liftoff && (no_fix_ || without_s > kNoFixAfterLiftoff_s);
    lost_ = !none_since_liftoff && since_fix_s > kFound_s &&
            (lost_ || (without_s > kNoFix_s && !(view.horizontal_sigma_m < kPositionUnknown_m)));
    if (no_fix_) conditions.push_back({.id = EventId::no_fix_at_liftoff, .values = {{"for_s", since_fix_s}}});
    if (lost_)
        conditions.push_back({.id = EventId::position_lost,
                              .values = {{"for_s", since_fix_s}, {"horizontal_sigma_m", view.horizontal_sigma_m}}});
}

void FlightWatches::judge_attitude(const FlightView& view, std::vector<Condition>& conditions) {
    const bool had = view.t_attitude_ns != 0;
    const double without_s = seconds_between(view.t_attitude_ns, view.t_measured_ns);
    if (!had || !(without_s > kAttitudeGone_s)) {
        explained_ = false;
        return;
    }
    explained_ |= without_s < kEndsAttitude_s && view.loss > kLossy;
    if (view.t_silence_end_ns != 0) {
        const std::int64_t began_ns = view.t_silence_end_ns - seconds_to_ns(view.silence_s);
        explained_ |= view.t_silence_end_ns > view.t_attitude_ns &&
                      seconds_between(view.t_attitude_ns, began_ns) < kEndsAttitude_s;
    }
    if (!explained_ && view.seconds_since(view.t_received_ns) < kSilent_s)
        conditions.push_back({.id = EventId::attitude_unknown, .values = {{"for_s", without_s}}});
}

} // namespace turnstone
