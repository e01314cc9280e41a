#pragma once
/// The firing of an ejection charge, as the record around it was found to be: what was measured, the picture on a
/// millisecond axis with the edges drawn, the shock spectrum, the sensors before and after.
#include <optional>
#include <string>
#include <vector>

#include "server/pipeline/checklist/procedure.hpp"
#include "server/record/by_name/recorded.hpp"
#include "server/report/draw/spectrum_chart.hpp"
#include "server/report/page/markup.hpp"

namespace turnstone::report {

struct Firing {
    std::size_t vehicle = 0;
    std::string charge;
    RowValues row; ///< of the table of that charge; its time is that of the firing
};

/// In the window, in the order of their times.
[[nodiscard]] std::vector<Firing> firings_in(const Recorded& recorded, std::size_t vehicle, Window window);

/// Of the acceleration along the long axis; empty when the record is too coarse, or has a hole.
[[nodiscard]] std::optional<SpectrumCurve> shock_of(const Recorded& recorded, const Firing& firing);

/// A test before this one.
struct EarlierFiring {
    std::string label; ///< "Test 2, 2026-05-02"
    RowValues row;
    std::optional<SpectrumCurve> shock;
};

/// `procedure`: whose limits are drawn in the picture; null: none.
[[nodiscard]] Markup charge_chapter(const Recorded& recorded, const Firing& firing,
                                    const std::vector<EarlierFiring>& earlier, const Procedure* procedure = nullptr);

} // namespace turnstone::report
