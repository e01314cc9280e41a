#include "server/report/chapters/clock.hpp"

#include "server/report/text/figure.hpp"
#include "shared/time.hpp"

namespace turnstone::report {

std::string ReportClock::text(std::int64_t t_ns) const {
    if (liftoff_ns_ && t_ns >= *liftoff_ns_) return flight_clock(seconds_between(*liftoff_ns_, t_ns));
    return utc(t_ns);
}

std::string ReportClock::utc(std::int64_t t_ns) const {
    return utc_time(recorded_.utc_ns(t_ns));
}

} // namespace turnstone::report
