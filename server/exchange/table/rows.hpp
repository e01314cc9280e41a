#pragma once
/// The rows that are exported, in the order of their times: as they are stored, a row a packet or estimate, or on one
/// time base, where every line has the newest value of each column since the line before.
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "server/record/read/reader.hpp"

namespace turnstone::exchange {

struct ChosenTable {
    std::string name; ///< "sanderling/imu"; of the one time base "samples"
    std::string title;
    std::vector<Column> columns; ///< numbers before texts; on one time base named "sanderling/imu.accel_x"
    std::size_t number_count = 0;

    [[nodiscard]] std::size_t text_count() const noexcept { return columns.size() - number_count; }
};

struct Span {
    std::int64_t from_ns;
    std::int64_t to_ns; ///< exclusive
};

/// How many rows a table has, and how many characters the longest text of each of its text columns.
struct Extent {
    std::uint64_t rows = 0;
    std::vector<std::size_t> characters = {};
};

class Rows {
  public:
    /// `every_ns` 0: as stored. On one time base texts are left out. The reader must outlive it.
    Rows(RecordingReader& reader, std::vector<ColumnChoice> choices, Span span, std::int64_t every_ns);

    [[nodiscard]] const std::vector<ChosenTable>& tables() const noexcept { return tables_; }
    [[nodiscard]] Span span() const noexcept { return span_; }
    [[nodiscard]] bool is_resampled() const noexcept { return every_ns_ > 0; }
    /// From the beginning, of all tables or of one.
    void start(std::optional<std::size_t> only = {});
    [[nodiscard]] bool next();
    /// `choice` is an index into tables().
    [[nodiscard]] const StreamedRow& row() const noexcept { return row_; }
    /// Reads a table once, without its numbers. Then start() again.
    [[nodiscard]] Extent extent(std::size_t table);

  private:
    [[nodiscard]] bool next_line();

    RecordingReader* reader_;
    std::vector<ColumnChoice> choices_;
    std::vector<ChosenTable> tables_;
    Span span_;
    std::int64_t every_ns_;
    RowStream stream_;
    StreamedRow row_;
    // Of one time base:
    std::vector<std::size_t> first_column_; ///< of each choice
    std::vector<double> line_;
    std::int64_t line_ns_ = 0;
    bool has_row_ = false; ///< the stream's row belongs to a later line
};

/// Those of the choices that have a row in the span.
[[nodiscard]] std::vector<ColumnChoice> with_rows(RecordingReader& reader, std::vector<ColumnChoice> choices,
                                                  Span span);

} // namespace turnstone::exchange
