#pragma once
/// Rows of a batch as others read them: protocol/LIVE.md.
#include <cstdint>
#include <optional>
#include <string>

#include "server/pipeline/batch.hpp"
#include "server/pipeline/setup.hpp"

namespace turnstone {

/// One line of JSON, with its line end.
[[nodiscard]] std::string json_line(const Batch& batch, const RowRecord& row, const Table& table, std::int64_t utc_ns);

/// Sentences of the position that a row of a vehicle's table "navigation" has; empty: it has none.
[[nodiscard]] std::string sentences_of(const Batch& batch, const RowRecord& row, const Table& table,
                                       double geoid_height_m, std::int64_t utc_ns);

} // namespace turnstone
