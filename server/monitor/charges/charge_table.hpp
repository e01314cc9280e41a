#pragma once
/// "<vehicle>/charge/<charge>": a row for each firing of a charge, dated by the firing, with all that the record around
/// it shows.
#include <vector>

#include "server/analysis/charge/findings.hpp"
#include "server/estimate/table.hpp"
#include "shared/vehicle.hpp"

namespace turnstone {

/// Of a vehicle's charges, in the order of its parachutes, without "<vehicle>/"; empty where it has none.
[[nodiscard]] std::vector<TableOf<analysis::ChargeFindings>> charge_tables(const Vehicle& vehicle);

/// An edge as it is announced.
struct NamedEdge {
    const char* name; ///< its column's; of the igniter's current: "current_begins"
    analysis::Measured after_s;
};
/// Those that were found, in their usual order.
[[nodiscard]] std::vector<NamedEdge> edges_of(const analysis::ChargeFindings& findings);

} // namespace turnstone
