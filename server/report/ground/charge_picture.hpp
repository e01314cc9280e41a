#pragma once
/// Acceleration, pressure, turn rate, battery and current around a firing, on one millisecond axis.
#include "server/report/ground/charge.hpp"

namespace turnstone::report {

/// An edge of a firing.
struct FoundEdge {
    std::string name; ///< "lid off"
    double after_s;
    double sigma_s;
};

/// In the order of their times.
[[nodiscard]] std::vector<FoundEdge> edges_of(const Recorded& recorded, const Firing& firing);

/// The drawing and below it the table of its edges. Empty when nothing was recorded around the firing.
/// With the limits of the procedure's checks on its figures; null: none.
[[nodiscard]] Markup charge_picture(const Recorded& recorded, const Firing& firing, const Procedure* procedure);

} // namespace turnstone::report
