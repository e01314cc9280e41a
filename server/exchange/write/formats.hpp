#pragma once
/// A file a format. Each writes everything and returns why it could not, or `stopped()`.
#include <filesystem>
#include <optional>

#include "server/exchange/table/rows.hpp"
#include "server/exchange/write/output.hpp"
#include "server/exchange/write/subject.hpp"

namespace turnstone::exchange {

// Tables.

/// RFC 4180. Columns are "TABLE.COLUMN [UNIT]"; a missing value is an empty cell. As stored, a line is a row of one
/// table, which `series` names where there are several.
[[nodiscard]] Result<void> write_csv(const Subject& subject, Rows& rows, Output& out, Steps& steps);
/// A JSON text a line (RFC 8259): the first says what the columns are, each other one is a row; a missing value is
/// null.
[[nodiscard]] Result<void> write_json_lines(const Subject& subject, Rows& rows, Output& out, Steps& steps);
/// NumPy's .npz: a structured array of each table, whose first field is t_ns, and "columns", which says what they are:
/// table, column, unit and title. A missing value is NaN.
[[nodiscard]] Result<void> write_npz(const Subject& subject, Rows& rows, Output& out, Steps& steps);
/// HDF5: a group of each table, a data set of each column with `units`; a missing value is NaN. At most one is written
/// at a time: the library may be built without locks.
[[nodiscard]] Result<void> write_hdf5(const Subject& subject, Rows& rows, const std::filesystem::path& path,
                                      Steps& steps);

// Places: those of `choices` that have a position.

/// KML 2.3: a line for each stretch without a gap, heights above mean sea level, and the flight's events.
[[nodiscard]] Result<void> write_kml(const Subject& subject, const std::vector<ColumnChoice>& choices, Span span,
                                     Output& out, Steps& steps);
/// RFC 7946: the same with the UTC of each position; heights above the ellipsoid.
[[nodiscard]] Result<void> write_geojson(const Subject& subject, const std::vector<ColumnChoice>& choices, Span span,
                                         Output& out, Steps& steps);
/// GPX 1.1: a track of each table; heights above mean sea level.
[[nodiscard]] Result<void> write_gpx(const Subject& subject, const std::vector<ColumnChoice>& choices, Span span,
                                     Output& out, Steps& steps);

/// What a link delivered, octet for octet.
[[nodiscard]] Result<void> write_raw(const Subject& subject, LinkId link, Span span, Output& out, Steps& steps);

/// What ended a writer early, if something did: a file that cannot be read or written, or a stop.
[[nodiscard]] Result<void> ended(const Subject& subject, Output& out, bool stop);

} // namespace turnstone::exchange
