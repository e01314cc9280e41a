#include "server/record/format/series_rows.hpp"

#include <algorithm>
#include <iterator>
#include <limits>

#include "server/record/format/stored_row.hpp"

namespace turnstone {

SeriesRows::SeriesRows(Database& database, const StoredTable& table, std::vector<std::size_t> columns)
    : table_(table), columns_(std::move(columns)) {
    const std::string name = identifier(table.rows_name());
    std::string sql = table.is_indexed ? "SELECT id, t_ns, t_rx_ns, frame" : "SELECT id, t_ns, t_ns + delay_ns, frame";
    for (const std::size_t column : columns_) sql += ", " + identifier(table.column_sql_names[column]);
    sql += " FROM " + name;
    if (table.is_indexed) {
        forward_ = Statement(database, sql + " WHERE t_ns >= ? AND t_ns < ? ORDER BY t_ns, id");
        backward_ = Statement(database, sql + " WHERE t_ns <= ? ORDER BY t_ns DESC, id DESC");
        count_ = Statement(database,
                           "SELECT count(*) FROM (SELECT 1 FROM " + name + " WHERE t_ns >= ? AND t_ns < ? LIMIT ?)");
        return;
    }
    const std::string series = std::to_string(table.table.id);
    search_.emplace(database, table.rows_name(), "id", "t_ns", [this](std::int64_t id) { return is_late(id); });
    slack_ = Statement(database, "SELECT slack_ns FROM series WHERE id = " + series);
    late_ = Statement(database, "SELECT t_ns, id FROM late_row WHERE series = " + series + " AND id > ? ORDER BY id");
    forward_ = Statement(database, sql + " WHERE id >= ? ORDER BY id");
    backward_ = Statement(database, sql + " WHERE id < ? ORDER BY id DESC");
    one_ = Statement(database, sql + " WHERE id = ?");
    count_ =
        Statement(database, "SELECT count(*) FROM " + name + " WHERE id >= ? AND id < ? AND t_ns >= ? AND t_ns < ?");
}

std::int64_t SeriesRows::stored(std::int64_t t_ns) const {
    return stored_time_ns(t_ns, table_.base_ns);
}

bool SeriesRows::is_late(std::int64_t id) const {
    return std::ranges::binary_search(late_ids_, id);
}

/// At what grows with a live recording.
void SeriesRows::look_again() {
    if (!search_) return;
    slack_ns_ = slack_.step() ? std::clamp(slack_.integer(0), std::int64_t{0}, kRowTimeMax_ns) : 0;
    slack_.reset();
    late_.bind(1, late_ids_.empty() ? std::numeric_limits<std::int64_t>::min() : late_ids_.back());
    const std::size_t known = late_ids_.size();
    while (late_.step()) {
        late_rows_.push_back({late_.integer(0), late_.integer(1)});
        late_ids_.push_back(late_.integer(1));
    }
    late_.reset();
    if (late_ids_.size() != known) std::ranges::sort(late_rows_);
}

void SeriesRows::read(const Statement& select, SeriesRow& row) const {
    row.id = select.integer(0);
    row.t_ns = station_time_ns(select.integer(1), table_.base_ns);
    row.t_rx_ns.reset();
    if (!select.is_null(2)) row.t_rx_ns = station_time_ns(select.integer(2), table_.base_ns);
    row.frame = select.integer(3);
    row.numbers.resize(columns_.size());
    row.texts.clear();
    for (std::size_t i = 0; i < columns_.size(); ++i) {
        const int place = static_cast<int>(i) + 4;
        if (columns_[i] < table_.table.number_count)
            row.numbers[i] = number_of(select, place, table_.codes[columns_[i]]);
        else
            row.texts.push_back(select.text(place));
    }
    row.numbers.resize(columns_.size() - row.texts.size());
}

void SeriesRows::start(std::int64_t from_ns, std::int64_t to_ns) {
    reset();
    from_ns_ = stored(from_ns);
    to_ns_ = stored(to_ns);
    newest_ns_ = std::numeric_limits<std::int64_t>::min();
    more_ = true;
    if (search_) {
        look_again();
        next_late_ = static_cast<std::size_t>(std::ranges::lower_bound(late_rows_, from_ns_, {}, &Late::t_ns) -
                                              late_rows_.begin());
        forward_.bind(1, search_->place_of(from_ns_ - slack_ns_).before + 1);
    } else {
        forward_.bind(1, from_ns);
        forward_.bind(2, to_ns);
    }
}

void SeriesRows::reset() {
    forward_.reset();
    more_ = false;
    std::ranges::move(waiting_, std::back_inserter(spare_));
    waiting_.clear();
    next_late_ = late_rows_.size();
}

void SeriesRows::wait(const Statement& select) {
    if (spare_.empty()) spare_.emplace_back();
    read(select, spare_.back());
    auto place = waiting_.end();
    while (place != waiting_.begin() && std::prev(place)->t_ns > spare_.back().t_ns) --place;
    waiting_.insert(place, std::move(spare_.back()));
    spare_.pop_back();
}

/// Takes the next row of the table among those waiting. False when no further one can be before `to`.
bool SeriesRows::read_ahead() {
    while (forward_.step()) {
        const std::int64_t t_ns = forward_.integer(1);
        if (!is_row_time(t_ns) || (!late_ids_.empty() && is_late(forward_.integer(0)))) continue;
        newest_ns_ = std::max(newest_ns_, t_ns);
        if (newest_ns_ - slack_ns_ >= to_ns_) break;
        if (t_ns < from_ns_ || t_ns >= to_ns_) continue;
        wait(forward_);
        return true;
    }
    forward_.reset();
    return false;
}

/// False when the row is not there: a damaged file.
bool SeriesRows::take_late(std::int64_t id) {
    one_.bind(1, id);
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
    while (next_late_ < late_rows_.size() && late_rows_[next_late_].t_ns < to_ns_ &&
           (waiting_.empty() || late_rows_[next_late_] < Late{stored(waiting_.front().t_ns), waiting_.front().id}))
        if (take_late(late_rows_[next_late_++].id)) return true;
    if (waiting_.empty()) return false;
    std::swap(row_, waiting_.front());
    spare_.push_back(std::move(waiting_.front()));
    waiting_.pop_front();
    return true;
}

bool SeriesRows::find_last(std::int64_t t_ns) {
    bool found = false;
    if (!search_) {
        backward_.bind(1, t_ns);
        found = backward_.step();
        if (found) read(backward_, row_);
        backward_.reset();
        return found;
    }
    look_again();
    const std::int64_t last_ns = stored(t_ns);
    Late best{};
    backward_.bind(1, search_->place_of(last_ns + 1 + slack_ns_).after);
    while (backward_.step()) {
        const Late at{backward_.integer(1), backward_.integer(0)};
        if (!is_row_time(at.t_ns) || is_late(at.id)) continue;
        if (at.t_ns <= last_ns && (!found || at > best)) {
            read(backward_, row_);
            found = true;
            best = at;
        }
        if (found && at.t_ns + slack_ns_ <= best.t_ns) break; // no row before it is later
    }
    backward_.reset();
    const auto late = std::ranges::upper_bound(late_rows_, last_ns, {}, &Late::t_ns);
    if (late != late_rows_.begin() && (!found || *std::prev(late) > best))
        found = take_late(std::prev(late)->id) || found;
    return found;
}

std::int64_t SeriesRows::count(std::int64_t from_ns, std::int64_t to_ns, std::int64_t limit, std::int64_t most) {
    std::int64_t outside = 0; // late rows whose ids are not among those looked at
    if (search_) {
        look_again();
        const std::int64_t first_ns = stored(from_ns), end_ns = stored(to_ns);
        const std::int64_t first = search_->place_of(first_ns - slack_ns_).before + 1;
        const std::int64_t end = search_->place_of(end_ns + slack_ns_).after;
        const auto from = std::ranges::lower_bound(late_rows_, first_ns, {}, &Late::t_ns);
        const auto to = std::ranges::lower_bound(late_rows_, end_ns, {}, &Late::t_ns);
        outside = std::count_if(from, to, [&](const Late& late) { return late.id < first || late.id >= end; });
        const std::int64_t at_most = end - first + outside;
        if (at_most <= limit || at_most > 2 * limit) return at_most;
        count_.bind(1, first);
        count_.bind(2, end);
        count_.bind(3, first_ns);
        count_.bind(4, end_ns);
    } else {
        count_.bind(1, from_ns);
        count_.bind(2, to_ns);
        count_.bind(3, most);
    }
    const std::int64_t rows = count_.step() ? count_.integer(0) : 0;
    count_.reset();
    return rows + outside;
}

} // namespace turnstone
