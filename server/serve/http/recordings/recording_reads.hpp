#pragma once
/// Reads of one recording for the HTTP interface: query in, answer out. Run on worker threads; no connection in sight.
#include "server/record/read/reader.hpp"
#include "server/serve/http/answer.hpp"

namespace turnstone {

[[nodiscard]] Answer read_description(RecordingReader& reader, const Target& target); ///< of a closed recording
[[nodiscard]] Answer read_series(RecordingReader& reader, const Target& target);
[[nodiscard]] Answer read_latest(RecordingReader& reader, const Target& target);
[[nodiscard]] Answer read_events(RecordingReader& reader, const Target& target);
/// Of charges that fired; what the printed report draws of each.
[[nodiscard]] Answer read_shocks(RecordingReader& reader, const Target& target);
[[nodiscard]] Answer read_frames(RecordingReader& reader, const Target& target);

} // namespace turnstone
