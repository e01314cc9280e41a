#pragma once
/// Proves, before anything is received, that a recording of a setup can be made.
#include <string>

#include "server/pipeline/setup.hpp"

namespace turnstone {

/// Why a recording of the setup cannot be made, by making one in memory; empty when it can.
[[nodiscard]] std::string why_not_recordable(const PipelineSetup& setup);

} // namespace turnstone
