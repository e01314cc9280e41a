#pragma once
/// Checks as they stood at some moment, for a table with the room left to each limit.
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "server/pipeline/checklist/check.hpp"
#include "server/record/by_name/recorded.hpp"
#include "server/report/page/markup.hpp"

namespace turnstone::report {

struct CheckResult {
    std::string id, title, why, required;
    Severity severity = Severity::must;
    CheckState state = CheckState::waits;
    std::string reason;   ///< why it is not evaluated, or what decided it; may be empty
    std::string said;     ///< by whom, and what besides; of a statement
    std::string measured; ///< with its unit; empty: nothing
    double margin = 0;    ///< NaN: none
    std::string margin_text;
    /// When its state last changed, and what was measured then; empty: the recording has no change of it.
    std::optional<std::int64_t> changed_ns;
    std::string measured_at_change;
    double room = 0; ///< the margin that counts as all the room there is; NaN: nothing says

    [[nodiscard]] bool decided_badly() const { return state != CheckState::holds; }
};

/// As they stood at the end of the window. `procedure`: its id; empty: of the readiness board. State and figures are
/// those of the last row or the last change of state, whichever is newer; a statement's state too, unless there is
/// neither.
[[nodiscard]] std::vector<CheckResult> check_results(const Recorded& recorded, std::size_t vehicle,
                                                     const std::vector<Check>& checks, const std::string& procedure,
                                                     Window window);

[[nodiscard]] Markup checks_table(const std::vector<CheckResult>& results);

/// "9 of 9 checks hold. Least margin: shock, 24 m/s²."
[[nodiscard]] std::string checks_sentence(const std::vector<CheckResult>& results);

} // namespace turnstone::report
