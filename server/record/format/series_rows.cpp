#include "server/record/format/series_rows.hpp"

#include <algorithm>
#include <limits>
#include <utility>

#include "server/record/format/stored_row.hpp"

namespace turnstone {

namespace {

bool later(const SeriesRow& a, const SeriesRow& b) {
    return std::pair(a.t_ns, a.id) > std::pair(b.t_ns, b.id);
}

} // namespace

SeriesRows::SeriesRows(Database& database, const StoredTable& table, std::vector<std::size_t> columns)
    : table_(table), columns_(std::move(columns)) {
    std::string sql = table.is_indexed ? "SELECT id, t_ns, t_rx_ns, frame" : "SELECT id, t_ns, t_ns + delay_ns, frame";
    for (const std::size_t column : columns_) sql += ", " + identifier(table.column_sql_names[column]);
    sql += " FROM " + identifier(table.rows_name());
    if (table.is_indexed) {
        forward_ = Statement(database, sql + " WHERE t_ns >= ? AND t_ns < ? ORDER BY t_ns, id");
        backward_ = Statement(database, sql + " WHERE t_ns <= ? ORDER BY t_ns DESC, id DESC");
        count_ = Statement(database, "SELECT count(*) FROM (SELECT 1 FROM " + identifier(table.rows_name()) +
                                         " WHERE t_ns >= ? AND t_ns < ? LIMIT ?)");
    } else {
        const std::string series = std::to_string(table.table.id);
        search_.emplace(database, table.rows_name(), "id", "t_ns", table.in_order_sql());
        slack_ = Statement(database, "SELECT slack_ns FROM series WHERE id = " + series);
        forward_ = Statement(database, sql + " WHERE id >= ? ORDER BY id");
        backward_ = Statement(database, sql + " WHERE id < ? AND " + table.in_order_sql() + " ORDER BY id DESC");
        one_ = Statement(database, sql + " WHERE id = ?");
        const std::string late = "SELECT t_ns, id FROM late_row WHERE series = " + series;
        late_ = Statement(database, late + " AND t_ns >= ? AND t_ns < ? ORDER BY t_ns DESC, id DESC");
        late_last_ = Statement(database, late + " AND t_ns <= ? ORDER BY t_ns DESC, id DESC LIMIT 1");
    }
}

std::int64_t SeriesRows::stored(std::int64_t t_ns) const {
    return stored_time_ns(t_ns, table_.base_ns);
}

/// It grows with a live recording.
std::int64_t SeriesRows::slack() {
    if (table_.is_indexed) return 0;
    const std::int64_t slack_ns = slack_.step() ? slack_.integer(0) : 0;
    slack_.reset();
    return std::clamp(slack_ns, std::int64_t{0}, kRowTimeMax_ns);
}

void SeriesRows::read(const Statement& select, SeriesRow& row) const {
    row.id = select.integer(0);
    row.t_ns = station_time_ns(select.integer(1), table_.base_ns);
    row.t_rx_ns.reset();
    if (!select.is_null(2)) row.t_rx_ns = station_time_ns(select.integer(2), table_.base_ns);
    row.frame = select.integer(3);
    row.numbers.clear();
    row.texts.clear();
    for (std::size_t i = 0; i < columns_.size(); ++i) {
        const int place = static_cast<int>(i) + 4;
        if (columns_[i] < table_.table.number_count)
            row.numbers.push_back(number_of(select, place, table_.codes[columns_[i]]));
        else
            row.texts.push_back(select.text(place));
    }
}

void SeriesRows::list_late() {
    late_rows_.clear();
    late_ids_.clear();
    late_.bind(1, from_ns_);
    late_.bind(2, to_ns_);
    while (late_.step()) {
        late_rows_.emplace_back(late_.integer(0), late_.integer(1));
        late_ids_.push_back(late_.integer(1));
    }
    late_.reset();
    std::ranges::sort(late_ids_);
}

void SeriesRows::start(std::int64_t from_ns, std::int64_t to_ns) {
    reset();
    from_ns_ = stored(from_ns);
    to_ns_ = stored(to_ns);
    slack_ns_ = slack();
    newest_ns_ = std::numeric_limits<std::int64_t>::min();
    if (search_) {
        list_late();
        forward_.bind(1, search_->place_of(from_ns_ - slack_ns_).before + 1);
    } else {
        forward_.bind(1, from_ns);
        forward_.bind(2, to_ns);
    }
    more_ = true;
}

void SeriesRows::reset() {
    forward_.reset();
    more_ = false;
    late_rows_.clear();
    std::ranges::move(waiting_, std::back_inserter(spare_));
    waiting_.clear();
}

/// Takes the next row of the table among those waiting. False when no further one can be before `to`.
bool SeriesRows::read_ahead() {
    while (forward_.step()) {
        const std::int64_t t_ns = forward_.integer(1);
        if (!is_row_time(t_ns)) continue;
        newest_ns_ = std::max(newest_ns_, t_ns);
        if (newest_ns_ - slack_ns_ >= to_ns_) break;
        if (t_ns < from_ns_ || t_ns >= to_ns_ || std::ranges::binary_search(late_ids_, forward_.integer(0))) continue;
        if (spare_.empty()) spare_.emplace_back();
        read(forward_, spare_.back());
        waiting_.push_back(std::move(spare_.back()));
        spare_.pop_back();
        std::ranges::push_heap(waiting_, later);
        return true;
    }
    forward_.reset();
    return false;
}

/// False when the row is not there: a damaged file.
bool SeriesRows::take_late() {
    one_.bind(1, late_rows_.back().second);
    late_rows_.pop_back();
    const bool found = one_.step();
    if (found) read(one_, row_);
    one_.reset();
    return found;
}

bool SeriesRows::next() {
    if (!search_) {
        more_ = more_ && forward_.step();
        if (more_) read(forward_, row_);
        return more_;
    }
    while (more_ && (waiting_.empty() || waiting_.front().t_ns - table_.base_ns > newest_ns_ - slack_ns_))
        more_ = read_ahead();
    while (!late_rows_.empty() &&
           (waiting_.empty() || late_rows_.back() < std::pair(stored(waiting_.front().t_ns), waiting_.front().id)))
        if (take_late()) return true;
    if (waiting_.empty()) return false;
    std::ranges::pop_heap(waiting_, later);
    std::swap(row_, waiting_.back());
    spare_.push_back(std::move(waiting_.back()));
    waiting_.pop_back();
    return true;
}

bool SeriesRows::find_last(std::int64_t t_ns) {
    bool found = false;
    if (search_) {
        const std::int64_t slack_ns = slack(), last_ns = stored(t_ns);
        std::int64_t found_ns = 0;
        backward_.bind(1, search_->place_of(last_ns + 1 + slack_ns).after);
        while (backward_.step()) {
            const std::int64_t at_ns = backward_.integer(1);
            if (!is_row_time(at_ns)) continue;
            if (at_ns <= last_ns && (!found || at_ns > found_ns)) {
                read(backward_, row_);
                found = true;
                found_ns = at_ns;
            }
            if (found && at_ns + slack_ns <= found_ns) break; // no row before it is later
        }
        late_last_.bind(1, last_ns);
        if (late_last_.step() && (!found || late_last_.integer(0) >= found_ns)) {
            late_rows_.assign(1, {late_last_.integer(0), late_last_.integer(1)});
            const bool same_time = found && late_rows_.back().first == found_ns;
            if (!same_time || late_rows_.back().second > row_.id) found = take_late() || found;
            late_rows_.clear();
        }
        late_last_.reset();
    } else {
        backward_.bind(1, t_ns);
        found = backward_.step();
        if (found) read(backward_, row_);
    }
    backward_.reset();
    return found;
}

std::int64_t SeriesRows::count(std::int64_t from_ns, std::int64_t to_ns, std::int64_t limit) {
    if (search_) {
        const std::int64_t slack_ns = slack();
        const std::int64_t first = search_->place_of(stored(from_ns) - slack_ns).before + 1;
        const std::int64_t end = search_->place_of(stored(to_ns) + slack_ns).after;
        from_ns_ = stored(from_ns);
        to_ns_ = stored(to_ns);
        list_late();
        return std::min(end - first + static_cast<std::int64_t>(std::exchange(late_rows_, {}).size()), limit + 1);
    }
    count_.bind(1, from_ns);
    count_.bind(2, to_ns);
    count_.bind(3, limit + 1);
    const std::int64_t rows = count_.step() ? count_.integer(0) : 0;
    count_.reset();
    return rows;
}

} // namespace turnstone
