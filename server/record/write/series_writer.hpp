#pragma once
/// Writes the rows of one series into an open file. Its table and view are made with the first row.
#include <cstdint>
#include <optional>
#include <span>
#include <string>

#include "server/record/format/fixed_tables.hpp"
#include "server/record/format/layout.hpp"
#include "server/record/format/sqlite.hpp"
#include "server/record/write/rollup.hpp"

namespace turnstone {

/// The packet a row came with.
struct RowFrame {
    std::int64_t id;
    std::int64_t t_rx_ns;
};

class SeriesWriter {
  public:
    /// `table` as named for the file, its base_ns set.
    SeriesWriter(Database& database, StoredTable table);
    SeriesWriter(const SeriesWriter&) = delete; // its rollup points into it
    SeriesWriter& operator=(const SeriesWriter&) = delete;

    void add(std::int64_t t_ns, std::int64_t t_rx_ns, const std::optional<RowFrame>& frame,
             std::span<const double> numbers, std::span<const std::string> texts);
    /// Before a commit.
    void finish_transaction();

    [[nodiscard]] const StoredTable& table() const noexcept { return table_; }
    [[nodiscard]] std::int64_t rows() const noexcept { return rows_; }

  private:
    void open();
    void note_order(std::int64_t stored_ns);

    Database& database_;
    StoredTable table_;
    Statement insert_;
    RowInsert<LateRow> late_;
    std::optional<RollupWriter> rollup_; ///< none until there is a row
    std::vector<double> values_;         ///< as the cells give them back
    std::int64_t rows_ = 0;
    std::int64_t newest_ns_; ///< as stored
    std::int64_t slack_ns_ = 0;
};

} // namespace turnstone
