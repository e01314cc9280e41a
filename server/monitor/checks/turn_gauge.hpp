#pragma once
/// By how many degrees a vehicle has turned since a person said that it stands as it should.
///
/// At rest an accelerometer feels the reaction to gravity alone: the mean over `over_s` is its direction in the axes of
/// the vehicle. The mean before the statement is kept; the angle from it to the newest mean is what the vehicle has
/// turned since, whenever and however slowly. A turn about the vertical leaves that direction where it is: no
/// accelerometer sees it. A mean counts only at rest; after any unrest another begins.
///
/// The least turn that it can show follows from the sensor. White noise of sigma s in n samples leaves s / (g sqrt n)
/// in each of the two axes across gravity, of either mean: 0.25 m/s2 in the 2000 samples of 10 s are 0.03 degrees, 0.07
/// in all. What drifts of the sensor's offset is taken for a turn: a random walk of 0.002 m/s2 per root second comes to
/// 0.4 degrees (1-sigma, each axis) in 20 minutes and 0.7 in an hour. Scale and misalignment are the same in both
/// means.
#include <memory>
#include <string>

#include "server/monitor/checks/gauge.hpp"
#include "server/monitor/checks/logbook.hpp"
#include "server/pipeline/checklist/binding.hpp"

namespace turnstone {

/// `value`: three axes, m/s2. With `since_begin`, only a statement since the check began counts. The logbook must
/// outlive it.
[[nodiscard]] std::unique_ptr<Gauge> make_turn_gauge(const Check& check, const BoundColumns& value, std::string vehicle,
                                                     const Logbook& book, bool since_begin);

} // namespace turnstone
