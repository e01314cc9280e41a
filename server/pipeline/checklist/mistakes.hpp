#pragma once
/// What is wrong with the names and limits in a vehicle's procedures and readiness board, beside the tables that there
/// are: unknown columns, units that differ, limits that no value meets.
#include <string>
#include <vector>

#include "server/pipeline/series.hpp"
#include "server/pipeline/setup.hpp"
#include "shared/json_reader.hpp"

namespace turnstone {

/// `folder`: of the files. `vehicle`: place in `setup`.
void find_checklist_mistakes(const PipelineSetup& setup, const Schema& schema, std::size_t vehicle,
                             const std::string& folder, std::vector<Problem>& problems);

} // namespace turnstone
