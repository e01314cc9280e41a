#pragma once
/// How a vehicle answered its fins and what disturbed it, from one recorded flight: the job "response". STREAM.md lists
/// the answer's members.
#include <nlohmann/json.hpp>

#include "server/analysis/guidance/shadow.hpp"
#include "server/analysis/identify/oscillation.hpp"
#include "server/analysis/identify/roll.hpp"
#include "server/debrief/advance.hpp"
#include "server/debrief/recordings.hpp"
#include "server/debrief/response/flight_record.hpp"

namespace turnstone::debrief {

[[nodiscard]] Result<nlohmann::json> control_response(const Recordings& recordings, const nlohmann::json& request,
                                                      const Advance& advance);

/// What the sensors of the vehicle file and the airspeed leave open, for every flight the same way.
[[nodiscard]] analysis::RollScales roll_scales(const FlightRecord& record);
[[nodiscard]] analysis::RollRecord roll_record(const FlightRecord& record);
[[nodiscard]] analysis::SwingRecord swing_record(const FlightRecord& record);

/// null for NaN.
[[nodiscard]] nlohmann::json number_json(double value);
[[nodiscard]] nlohmann::json interval_json(const analysis::Interval& interval);

} // namespace turnstone::debrief
