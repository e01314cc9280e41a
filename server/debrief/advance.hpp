#pragma once
/// How long work tells how far it is, and is told to stop.
#include <functional>

#include "shared/result.hpp"

namespace turnstone::debrief {

/// Called with the fraction of the work that is done, 0 to 1, after at most 50 ms of it. False: stop, and return what
/// `stopped` gives.
using Advance = std::function<bool(double fraction)>;

[[nodiscard]] inline tl::unexpected<Error> stopped() {
    return fail("stopped");
}

} // namespace turnstone::debrief
