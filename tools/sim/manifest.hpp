#pragma once
/// The two files a run leaves for tests: what was sent and its fate, and the truth.
#include <iosfwd>

#include "tools/sim/fly.hpp"

namespace turnstone::sim {

/// JSON Lines. The first line describes the run: {"kind":"run", scenario, seed, clock, "events":{...}}; then
/// one line per packet sent, in order:
/// {"kind":"packet","apid","sequence_count","onboard_ms","bytes","t_s","fate","intact_copies",...}. `t_s` is
/// when its last byte left the transmitter, seconds from the start of the run.
void write_manifest(std::ostream& out, const FlightResult& flight, const Scenario& scenario, std::uint64_t seed);

/// CSV, one row per inertial sample, SI units, the header names them. Event times are in the manifest.
void write_truth(std::ostream& out, const Truth& truth);

} // namespace turnstone::sim
