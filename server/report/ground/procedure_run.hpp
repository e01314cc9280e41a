#pragma once
/// The runs of procedures in a recording, each with its steps, its checks and its verdict.
#include <optional>
#include <string>
#include <vector>

#include "server/pipeline/checklist/procedure.hpp"
#include "server/record/by_name/recorded.hpp"
#include "server/report/ground/checks.hpp"

namespace turnstone::report {

struct StepResult {
    const Step* step;
    StepState state = StepState::ahead;
    std::int64_t t_ns = 0; ///< when it was done or waived
    std::string by, note;
    std::size_t repeats = 0;
    std::vector<std::string> held; ///< reasons for which a hold was not let go, the last time
};

struct ProcedureRun {
    std::size_t vehicle = 0;
    const Procedure* procedure = nullptr; ///< null: the recording does not have its file
    std::string id, title, by;
    double number = 1; ///< "Test 3"
    std::optional<std::int64_t> ended_ns;
    std::string verdict;             ///< passed, failed, incomplete; empty: not ended
    std::vector<std::string> waived; ///< titles of its steps that were
    Window window{};
    std::vector<StepResult> steps;
    std::vector<CheckResult> checks;
};

/// `recorded` must outlive them.
[[nodiscard]] std::vector<ProcedureRun> procedure_runs(const Recorded& recorded);

/// "Passed: 9 of 9 checks hold."
[[nodiscard]] std::string verdict_sentence(const ProcedureRun& run);

[[nodiscard]] Markup verdict_chapter(const ProcedureRun& run);
[[nodiscard]] Markup steps_chapter(const Recorded& recorded, const ProcedureRun& run);

} // namespace turnstone::report
