#pragma once
/// The rows of one series in the order of their times, of equal ones in the order they were made.
#include <cstdint>
#include <deque>
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
    SeriesRows(const SeriesRows&) = delete; // the search asks it for late rows
    SeriesRows& operator=(const SeriesRows&) = delete;

    /// Begins the rows of [from, to). Inside a read transaction from here on.
    void start(std::int64_t from_ns, std::int64_t to_ns);
    bool next();
    [[nodiscard]] const SeriesRow& row() const { return row_; }
    void reset();

    /// The last row at or before `t_ns`.
    [[nodiscard]] bool find_last(std::int64_t t_ns);
    /// About the rows in [from, to), and more than `limit` only if they are, or are twice as many with their disorder.
    /// Not counted beyond `most`.
    [[nodiscard]] std::int64_t count(std::int64_t from_ns, std::int64_t to_ns, std::int64_t limit, std::int64_t most);

  private:
    struct Late {
        std::int64_t t_ns, id;                                       ///< as stored
        friend auto operator<=>(const Late&, const Late&) = default; // NOLINT(modernize-use-nullptr): not ours
    };
    void look_again();
    [[nodiscard]] bool is_late(std::int64_t id) const;
    [[nodiscard]] std::int64_t stored(std::int64_t t_ns) const;
    void read(const Statement& select, SeriesRow& row) const;
    void wait(const Statement& select);
    bool read_ahead();
    bool take_late(std::int64_t id);

    const StoredTable& table_;
    std::vector<std::size_t> columns_;
    std::optional<IdSearch> search_; ///< none in layout 1, which has an index on time
    Statement slack_, late_, forward_, backward_, one_, count_;
    SeriesRow row_;
    std::deque<SeriesRow> waiting_; ///< in order: rows that come later may still belong before them
    std::vector<SeriesRow> spare_;
    std::vector<std::int64_t> late_ids_; ///< sorted
    std::vector<Late> late_rows_;        ///< the same by time
    std::size_t next_late_ = 0;
    std::int64_t from_ns_ = 0, to_ns_ = 0, slack_ns_ = 0, newest_ns_ = 0; ///< as stored
    bool more_ = false;
};

} // namespace turnstone
