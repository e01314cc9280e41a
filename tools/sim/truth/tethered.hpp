#pragma once
/// A tethered separation test: the bay lies on a padded stand with its lid pinned on, charges fire, the lid leaves, the
/// line runs out and snatches, the payload swings and settles. Nothing flies.
///
/// The shapes are chosen to be those of nature rather than of whoever evaluates the record: gas comes out of a burning
/// charge as a gamma pulse and leaves through vents, first few, then many; the lid's release is a difference of two
/// exponentials with some ringing; the snatch is a raised cosine. Sizes are invented.
#include "tools/sim/truth/truth.hpp"

namespace turnstone::sim {

/// Runs until `after_s` after the last charge. The charge of the k-th parachute fires within 40 ms of
/// `setup.ignition_s` + 12 s * k.
[[nodiscard]] Truth run_tethered(const FlightSetup& setup, double after_s);

} // namespace turnstone::sim
