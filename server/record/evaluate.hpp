#pragma once
/// The verdicts of a procedure on a stored recording, made as they are live: its inputs go through a pipeline again.
#include <filesystem>
#include <string>
#include <vector>

#include "server/pipeline/checklist/check.hpp"
#include "server/pipeline/setup.hpp"
#include "shared/result.hpp"

namespace turnstone {

struct EvaluatedCheck {
    std::string id;
    Severity severity;
    CheckState state;
    std::string text; ///< "Battery: holds, 7.90 V, required ≥ 7.40 V"
};

struct Evaluation {
    std::string vehicle, title;
    bool was_run = false; ///< in the recording; else the procedure was begun at its start and ended at its end
    std::string verdict;  ///< passed, failed or incomplete, of the last run
    std::vector<std::string> waived = {}; ///< titles of steps that people waived in it
    bool holds = false; ///< it passed; of one that was not run: every must-check holds, but for statements
    std::vector<EvaluatedCheck> checks = {};
};

/// `vehicle`: empty for the only one that has it. Each of `replacements` takes the place of the recording's vehicle of
/// that name.
[[nodiscard]] Result<Evaluation> evaluate_procedure(const std::filesystem::path& file, const std::string& procedure,
                                                    const std::string& vehicle, std::vector<VehicleSetup> replacements);

} // namespace turnstone
