#pragma once
/// What POST /api/jobs can be asked for.
#include <span>

#include "server/serve/jobs.hpp"

namespace turnstone {

[[nodiscard]] std::span<const JobKind> job_kinds();

} // namespace turnstone
