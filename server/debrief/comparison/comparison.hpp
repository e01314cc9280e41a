#pragma once
/// Flights laid over each other: aligned, on one time base, with their mean and band, their differences to the first,
/// what the first was predicted to do, their figures with spread, outliers and trend, and what changed in the vehicle's
/// file from one to the next.
///
/// Answer: "compare" of protocol/STREAM.md. The prediction of a series, and the simulated flight beside it, are of the
/// first flight's vehicle and site files, aligned as it is; the prediction of a figure is each flight's own, as shown
/// on the rail. Intervals are 95 %.
#include <nlohmann/json.hpp>

#include "server/debrief/advance.hpp"
#include "server/debrief/comparison/compared_flight.hpp"
#include "server/debrief/comparison/predicted_course.hpp"
#include "server/debrief/comparison/request.hpp"
#include "server/debrief/recordings.hpp"
#include "shared/result.hpp"

namespace turnstone::debrief {

/// Fails with a sentence about the flight that cannot be opened, or that lacks the moment asked for.
[[nodiscard]] Result<nlohmann::json> compare(const Recordings& recordings, const CompareRequest& request,
                                             const Advance& advance);

/// The same as a job.
[[nodiscard]] Result<nlohmann::json> compare_job(const Recordings& recordings, const nlohmann::json& request,
                                                 const Advance& advance);

/// Flown by the vehicle's and the site's files (predicted_course.hpp).
struct CoursesByFiles {
    std::optional<PredictedCourse> predicted, simulated;
};

/// The same of flights that are read. `courses`: of the first.
[[nodiscard]] Result<nlohmann::json> comparison_of(const std::vector<ComparedFlight>& flights, Alignment align,
                                                   const CoursesByFiles& courses, const Advance& advance);

} // namespace turnstone::debrief
