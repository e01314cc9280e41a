#pragma once
/// GET /api/flights/{id}/export: the flight, or a part of it, as a file in another format. On a worker; the work may
/// last as long as a copy of the recording.
#include <memory>
#include <string>

#include "server/debrief/recordings.hpp"
#include "server/serve/http/answer.hpp"
#include "server/serve/http/recordings/downloads.hpp"

namespace turnstone {

/// `target`: with the parameters format, from_s, to_s, channels and every_s. `slot` is held until the answer has been
/// sent or dropped.
[[nodiscard]] Answer export_answer(const debrief::Recordings& recordings, Downloads& downloads,
                                   const std::string& flight_id, const Target& target, std::shared_ptr<Lease> slot);

} // namespace turnstone
