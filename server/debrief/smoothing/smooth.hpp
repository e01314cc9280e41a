#pragma once
/// A flight gone over twice: estimates given all that was measured, before and after, beside what the filter said at
/// the time.
///
/// The recorded bytes go through this version's pipeline once more, and the steps of its vertical filter, its
/// translation filter and its attitude filter are gone back along (server/estimate/smoothing/rts.hpp,
/// server/estimate/navigation/backward/attitude_pass.hpp). The vertical filter is linear: from when it leaves rest to
/// touchdown, its backward pass is exact. So is the translation filter's, as far as each fix is linear about what it
/// was believed to be. The attitude's is linear about what the filter believed.
///
/// Answer: "smooth" of protocol/STREAM.md.
#include <string>

#include <nlohmann/json.hpp>

#include "server/debrief/advance.hpp"
#include "server/debrief/flights/open_flight.hpp"
#include "server/debrief/recordings.hpp"
#include "server/estimate/chain/chain.hpp"
#include "shared/result.hpp"

namespace turnstone::debrief {

/// The steps of a flight's filters: from its liftoff, as it was found, to its end.
[[nodiscard]] Result<estimate::StepsLeft> steps_of(OpenFlight& flight, const Advance& advance);

/// Values of one state with what the filter had.
struct SmoothedSeries {
    const char *key, *title, *unit;
    int decimals;
    std::vector<std::int64_t> t_ns;
    std::vector<double> value, sigma, filter_value, filter_sigma;
};

/// Without those that the vehicle does not have. Fails when it has none, or when asked to stop.
[[nodiscard]] Result<std::vector<SmoothedSeries>> smoothed_series(const estimate::StepsLeft& steps, Window window,
                                                                  const Advance& advance);

[[nodiscard]] Result<nlohmann::json> smooth(const Recordings& recordings, const nlohmann::json& request,
                                            const Advance& advance);

} // namespace turnstone::debrief
