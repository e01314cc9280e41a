#include "server/record/format/id_search.hpp"

#include <algorithm>
#include <limits>
#include <utility>

namespace turnstone {

namespace {

/// Reading these rows costs no more than looking for the very place.
constexpr std::int64_t kNearRows = 8;
/// Rows kept in memory, which make searches after the first ones short.
constexpr std::size_t kKnownMax = 512;

} // namespace

IdSearch::IdSearch(Database& database, const std::string& table, const std::string& id, const std::string& time,
                   IsLate is_late)
    : is_late_(std::move(is_late)) {
    const std::string rows = "SELECT " + id + ", " + time + " FROM " + identifier(table) + " WHERE " + id;
    from_ = Statement(database, rows + " >= ? ORDER BY " + id);
    up_to_ = Statement(database, rows + " <= ? ORDER BY " + id + " DESC");
}

std::optional<IdSearch::Row> IdSearch::first_in_order(Statement& rows, std::int64_t id) const {
    rows.bind(1, id);
    std::optional<Row> row;
    while (!row && rows.step())
        if (is_row_time(rows.integer(1)) && !is_late_(rows.integer(0))) row = {rows.integer(0), rows.integer(1)};
    rows.reset();
    return row;
}

std::optional<IdSearch::Row> IdSearch::row_from(std::int64_t id) {
    return first_in_order(from_, id);
}

std::optional<IdSearch::Row> IdSearch::row_up_to(std::int64_t id) {
    return first_in_order(up_to_, id);
}

void IdSearch::remember(const Row& row) {
    if (known_.size() >= kKnownMax) return;
    const auto place = std::ranges::lower_bound(known_, row.id, {}, &Row::id);
    if (place == known_.end() || place->id != row.id) known_.insert(place, row);
}

/// By what is known already.
void IdSearch::narrow(Row& low, Row& high, std::int64_t stored_ns) const {
    const auto place = std::ranges::partition_point(known_, [&](const Row& row) { return row.t_ns < stored_ns; });
    if (place != known_.begin() && std::prev(place)->id > low.id && std::prev(place)->id < high.id)
        low = *std::prev(place);
    if (place != known_.end() && place->id < high.id && place->id > low.id) high = *place;
}

IdSearch::Place IdSearch::place_of(std::int64_t stored_ns) {
    if (known_.empty()) {
        const auto first = row_from(std::numeric_limits<std::int64_t>::min());
        if (!first) return {0, 1};
        remember(*first);
    }
    Row low = known_.front(); // earlier than the time
    if (low.t_ns >= stored_ns) return {low.id - 1, low.id};
    Row high = row_up_to(std::numeric_limits<std::int64_t>::max()).value_or(low); // not earlier
    if (high.t_ns < stored_ns) return {high.id, high.id + 1};
    narrow(low, high, stored_ns);
    const auto look = [&](std::int64_t id) {
        const auto row = row_from(id);
        if (!row || row->id >= high.id || row->id < id) { // less: a page of a damaged file, in another's place
            high.id = id;                                 // no row between
            return false;
        }
        remember(*row);
        const bool earlier = row->t_ns < stored_ns;
        (earlier ? low : high) = *row;
        return earlier;
    };
    // Rows come at an even pace for the most part: the straight line between the ends leads close to the place, wider
    // and wider steps from there enclose it, halving finds it.
    if (high.id - low.id > kNearRows) {
        const double share = static_cast<double>(stored_ns - low.t_ns) / static_cast<double>(high.t_ns - low.t_ns);
        const auto ahead = static_cast<std::int64_t>(share * static_cast<double>(high.id - low.id));
        const bool earlier = look(low.id + 1 + std::clamp(ahead, std::int64_t{0}, high.id - low.id - 2));
        std::int64_t width = kNearRows;
        while (high.id - low.id > width && look(earlier ? low.id + width : high.id - width) == earlier)
            width *= kNearRows;
    }
    while (high.id - low.id > kNearRows) look(low.id + (high.id - low.id) / 2);
    return {low.id, high.id};
}

} // namespace turnstone
