#pragma once
/// Pictures of what decided a check: the column that it looks at, about the moment of the decision, with its limits.
#include <cstdint>
#include <string>

#include "server/record/by_name/recorded.hpp"
#include "server/report/ground/checks.hpp"
#include "server/report/ground/procedure_run.hpp"
#include "server/report/page/markup.hpp"

namespace turnstone::report {

struct DecidedCheck {
    std::size_t vehicle;
    const Check& check;
    const CheckResult& result;
    std::string procedure;  ///< its id; empty: of the readiness board
    std::int64_t closed_ns; ///< what came later did not count
    Window window;          ///< in which it was followed
};

/// One strip. Drawn is the column itself where the limits are on its values, or the shape of it about an event, else
/// what was measured of it over time. Its scale is that of what counted: a boost after the liftoff that closed the
/// check leaves it. Empty for a check that is not decided, or not on numbers over time.
[[nodiscard]] Markup evidence_strip(const Recorded& recorded, const DecidedCheck& decided);

/// The strips of a run's checks; empty without any.
[[nodiscard]] Markup evidence_chapter(const Recorded& recorded, const ProcedureRun& run);

/// A chapter around strips; empty without any.
[[nodiscard]] Markup evidence_chapter(std::string_view title, const Markup& strips);

} // namespace turnstone::report
