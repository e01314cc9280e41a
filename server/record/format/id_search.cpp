#include "server/record/format/id_search.hpp"

#include <limits>

namespace turnstone {

namespace {

/// Reading these rows costs no more than looking for the very place.
constexpr std::int64_t kNearRows = 8;

} // namespace

IdSearch::IdSearch(Database& database, const std::string& table, const std::string& id, const std::string& time,
                   const std::string& condition) {
    const std::string rows = "SELECT " + id + ", " + time + " FROM " + identifier(table) + " WHERE " + time +
                             " BETWEEN " + std::to_string(-kRowTimeMax_ns) + " AND " + std::to_string(kRowTimeMax_ns) +
                             " AND " + condition;
    from_ = Statement(database, rows + " AND " + id + " >= ? ORDER BY " + id + " LIMIT 1");
    last_ = Statement(database, rows + " ORDER BY " + id + " DESC LIMIT 1");
}

std::optional<IdSearch::Row> IdSearch::row_from(std::int64_t id) {
    from_.bind(1, id);
    std::optional<Row> row;
    if (from_.step()) row = {from_.integer(0), from_.integer(1)};
    from_.reset();
    return row;
}

std::optional<IdSearch::Row> IdSearch::last_row() {
    std::optional<Row> row;
    if (last_.step()) row = {last_.integer(0), last_.integer(1)};
    last_.reset();
    return row;
}

IdSearch::Place IdSearch::place_of(std::int64_t stored_ns) {
    if (!first_) first_ = row_from(std::numeric_limits<std::int64_t>::min());
    if (!first_) return {0, 1};
    if (first_->t_ns >= stored_ns) return {first_->id - 1, first_->id};
    Row low = *first_;                   // earlier than the time
    Row high = last_row().value_or(low); // not earlier
    if (high.t_ns < stored_ns) return {high.id, high.id + 1};
    const auto look = [&](std::int64_t id) {
        const auto row = row_from(id);
        if (!row || row->id >= high.id)
            high.id = id; // no row between
        else
            (row->t_ns < stored_ns ? low : high) = *row;
        return low.id == (row ? row->id : low.id - 1);
    };
    if (found_ && found_->id > low.id && found_->id < high.id) (found_->t_ns < stored_ns ? low : high) = *found_;
    // Rows come at an even pace for the most part: the straight line between the ends leads close to the place, wider
    // and wider steps from there enclose it, halving finds it.
    const double share = static_cast<double>(stored_ns - low.t_ns) / static_cast<double>(high.t_ns - low.t_ns);
    std::int64_t width = kNearRows;
    if (high.id - low.id > kNearRows) {
        const auto ahead = static_cast<std::int64_t>(share * static_cast<double>(high.id - low.id));
        const bool below = look(low.id + 1 + std::min(ahead, high.id - low.id - 2));
        while (high.id - low.id > width && look(below ? low.id + width : high.id - width) == below) width *= kNearRows;
    }
    while (high.id - low.id > kNearRows) look(low.id + (high.id - low.id) / 2);
    found_ = low;
    return {low.id, high.id};
}

} // namespace turnstone
