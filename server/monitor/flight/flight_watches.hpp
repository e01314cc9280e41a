#pragma once
/// What goes wrong with knowing where a flight is: no fix since liftoff, position lost, attitude unknown.
///
/// A silence of the link takes all of these away, is said by the link's own alerts, and ends by itself: nothing here is
/// judged in one, nor what one explains.
#include <vector>

#include "server/monitor/condition.hpp"
#include "server/monitor/flight/flight_view.hpp"

namespace turnstone {

class FlightWatches {
  public:
    void judge(const FlightView& view, std::vector<Condition>& conditions);

  private:
    void judge_fixes(const FlightView& view, bool silent, std::vector<Condition>& conditions);
    void judge_attitude(const FlightView& view, std::vector<Condition>& conditions);

    bool no_fix_ = false, lost_ = false; ///< since liftoff; later
    bool explained_ = false;             ///< why the attitude is missing: by a silence
};

} // namespace turnstone
