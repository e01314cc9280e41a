#pragma once
/// The rows of one series in the order of their times, of equal ones in the order they were made.
#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "server/record/format/id_search.hpp"
#include "server/record/format/layout.hpp"
#include "server/record/format/sqlite.hpp"

namespace turnstone {

struct SeriesRow {
    std::int64_t id = 0;
    std::int64_t t_ns = 0;                    ///< station time
    std::optional<std::int64_t> t_rx_ns = {}; ///< none: when its frame was received
    std::int64_t frame = 0;                   ///< 0: none
    std::vector<double> numbers = {};         ///< of the columns asked for
    std::vector<std::string> texts = {};
};

class SeriesRows {
  public:
    /// Columns are indices into Table::columns, numbers before texts. The series' table must be there and, like
    /// `table`, outlive it.
    SeriesRows(Database& database, const StoredTable& table, std::vector<std::size_t> columns);

    /// Begins the rows of [from, to). Inside a read transaction from here on.
    void start(std::int64_t from_ns, std::int64_t to_ns);
    bool next();
    [[nodiscard]] const SeriesRow& row() const { return row_; }
    void reset();

    /// The last row at or before `t_ns`.
    [[nodiscard]] bool find_last(std::int64_t t_ns);
    /// At least as many as there are rows in [from, to), and few more; not more than `limit` + 1.
    [[nodiscard]] std::int64_t count(std::int64_t from_ns, std::int64_t to_ns, std::int64_t limit);

  private:
    [[nodiscard]] std::int64_t stored(std::int64_t t_ns) const;
    [[nodiscard]] std::int64_t slack();
    void read(const Statement& select, SeriesRow& row) const;
    void list_late();
    bool read_ahead();
    bool take_late();

    const StoredTable& table_;
    std::vector<std::size_t> columns_;
    std::optional<IdSearch> search_; ///< none in layout 1, which has an index on time
    Statement slack_, forward_, backward_, count_, late_, late_last_, one_;
    SeriesRow row_;
    std::vector<SeriesRow> waiting_; ///< a heap: a row that comes later may still belong before them
    std::vector<SeriesRow> spare_;
    std::vector<std::pair<std::int64_t, std::int64_t>> late_rows_; ///< of late_row: time and id, the next one last
    std::vector<std::int64_t> late_ids_;                           ///< of all of them, sorted
    std::int64_t from_ns_ = 0, to_ns_ = 0, slack_ns_ = 0, newest_ns_ = 0;
    bool more_ = false;
};

} // namespace turnstone
