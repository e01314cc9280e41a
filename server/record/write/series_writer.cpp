#include "server/record/write/series_writer.hpp"

#include <algorithm>
#include <bit>
#include <limits>
#include <utility>

#include "server/record/format/id_search.hpp"

namespace turnstone {

SeriesWriter::SeriesWriter(Database& database, StoredTable table)
    : database_(database), table_(std::move(table)), values_(table_.table.number_count),
      newest_ns_(std::numeric_limits<std::int64_t>::min()) {
    if (!has_table(database, table_.rows_name())) return;
    open();
    Statement known(database, "SELECT slack_ns FROM series WHERE id = ?");
    known.bind(1, std::int64_t{table_.table.id});
    if (known.step()) slack_ns_ = table_.slack_ns = std::clamp(known.integer(0), std::int64_t{0}, kRowTimeMax_ns);
    const std::string rows = "SELECT id, t_ns FROM " + identifier(table_.rows_name());
    Statement last(database, rows + " ORDER BY id DESC LIMIT 1");
    if (last.step()) rows_ = last.integer(0);
    Statement in_order(database, rows + " WHERE id NOT IN (SELECT id FROM late_row WHERE series = " +
                                     std::to_string(table_.table.id) + ") ORDER BY id DESC LIMIT 1");
    if (in_order.step()) // no row is later than this
        newest_ns_ = std::clamp(in_order.integer(1), -kRowTimeMax_ns, kRowTimeMax_ns) + slack_ns_;
}

void SeriesWriter::open() {
    insert_ = Statement(database_, table_.insert_sql());
    late_ = {database_, kLateRowTable};
    rollup_.emplace(database_, table_);
}

void SeriesWriter::add(std::int64_t t_ns, std::int64_t t_rx_ns, const std::optional<RowFrame>& frame,
                       std::span<const double> numbers, std::span<const std::string> texts) {
    if (!rollup_) {
        create_series(database_, table_);
        open();
    }
    const std::int64_t stored_ns = t_ns - table_.base_ns;
    insert_.bind(1, stored_ns);
    if (frame && frame->t_rx_ns == t_rx_ns)
        insert_.bind_null(2);
    else
        insert_.bind(2, t_rx_ns - t_ns);
    if (frame)
        insert_.bind(3, frame->id);
    else
        insert_.bind_null(3);
    int place = 4;
    for (std::size_t c = 0; c < numbers.size(); ++c)
        values_[c] = bind_number(insert_, place++, table_.codes[c], numbers[c]);
    for (const std::string& text : texts) insert_.bind(place++, text);
    insert_.run();
    ++rows_;
    note_order(stored_ns);
    rollup_->add(t_ns, values_);
}

/// Of the newest row.
void SeriesWriter::note_order(std::int64_t stored_ns) {
    if (!is_row_time(stored_ns)) return;
    if (newest_ns_ > stored_ns + kSlackMax_ns)
        late_.write({.series = table_.table.id, .id = rows_, .t_ns = stored_ns});
    else if (newest_ns_ > stored_ns)
        slack_ns_ = std::max(slack_ns_, newest_ns_ - stored_ns);
    newest_ns_ = std::max(newest_ns_, stored_ns);
}

void SeriesWriter::finish_transaction() {
    if (!rollup_) return;
    rollup_->write();
    if (slack_ns_ <= table_.slack_ns) return;
    // Ahead of need, so that it changes seldom.
    table_.slack_ns = static_cast<std::int64_t>(std::bit_ceil(static_cast<std::uint64_t>(slack_ns_)));
    Statement update(database_, "UPDATE series SET slack_ns = ? WHERE id = ?");
    update.bind(1, table_.slack_ns);
    update.bind(2, std::int64_t{table_.table.id});
    update.run();
}

} // namespace turnstone
