#include "server/record/write/rollup.hpp"

#include <algorithm>
#include <limits>
#include <numeric>

#include "server/record/format/series_rows.hpp"

namespace turnstone {

namespace {

/// Finest bins that wait to be written together: a reader finds their rows (32 each) in the series' table instead.
constexpr std::size_t kBinsAtOnce = 16;
constexpr std::int64_t kBinMax = (std::int64_t{1} << 51) - 1;

} // namespace

RollupWriter::RollupWriter(Database& database, const StoredTable& table)
    : database_(database), table_(table), levels_(table.rollup.levels), current_(table.table.number_count) {
    if (has_table(database, table.rollup_name())) prepare();
    restore();
}

void RollupWriter::prepare() {
    is_made_ = true;
    const std::string name = identifier(table_.rollup_name());
    select_ = Statement(database_, "SELECT rows, data FROM " + name + " WHERE key = ?");
    replace_ = Statement(database_, "INSERT OR REPLACE INTO " + name + " (key, rows, data) VALUES (?, ?, ?)");
}

void RollupWriter::add(std::int64_t t_ns, std::span<const double> numbers) {
    const std::int64_t bin = table_.rollup.bin_of(0, t_ns);
    if (current_bin_ != bin) {
        spread();
        current_bin_ = bin;
    }
    current_.add(numbers);
}

/// Adds the rows gathered in `current_` to their bin of every level: once per bin and commit, not once per
/// row.
void RollupWriter::spread() {
    if (current_bin_) {
        for (unsigned level = 0; level < levels_.size(); ++level)
            bin_at(level, *current_bin_ >> (2 * level)).merge(current_);
        current_.clear();
        current_bin_.reset();
    }
}

RollupBin& RollupWriter::bin_at(unsigned level, std::int64_t bin) {
    Level& at = levels_[level];
    const auto found = at.bins.find(bin);
    if (found != at.bins.end()) return found->second;
    // A late row for a bin that is stored already: fetched, completed, and written again at the next commit.
    std::optional<RollupBin> stored;
    if (at.last_stored && bin <= *at.last_stored) stored = load(level, bin);
    return at.bins.emplace(bin, stored ? std::move(*stored) : RollupBin(current_.count.size())).first->second;
}

std::optional<RollupBin> RollupWriter::load(unsigned level, std::int64_t bin) {
    select_.bind(1, table_.rollup.key_of(level, bin));
    RollupBin loaded(current_.count.size());
    const bool found = select_.step() && decode_bin(select_.blob(1), select_.integer(0), table_.codes, loaded);
    select_.reset();
    return found ? std::optional(std::move(loaded)) : std::nullopt;
}

void RollupWriter::write() {
    spread();
    const bool enough = levels_.front().bins.size() > kBinsAtOnce;
    if (enough && !is_made_) {
        create_rollup(database_, table_);
        prepare();
    }
    for (unsigned level = 0; level < levels_.size(); ++level) {
        Level& at = levels_[level];
        while (!at.bins.empty()) {
            const auto oldest = at.bins.begin();
            const bool stored = at.last_stored && oldest->first <= *at.last_stored;
            if (!stored && (!enough || at.bins.size() == 1)) break;
            encode_bin(oldest->second, table_.codes, scratch_);
            replace_.bind(1, table_.rollup.key_of(level, oldest->first));
            replace_.bind(2, std::int64_t{oldest->second.rows});
            replace_.bind(3, std::span<const std::byte>(scratch_));
            replace_.run();
            at.last_stored = std::max(at.last_stored.value_or(oldest->first), oldest->first);
            at.bins.erase(oldest);
        }
    }
}

/// Open bins of a file written before: the finest level from the rows, each further one from the level below it.
void RollupWriter::restore() {
    for (unsigned level = 0; level < levels_.size() && is_made_; ++level) {
        Statement last(database_,
                       "SELECT max(key) FROM " + identifier(table_.rollup_name()) + " WHERE key BETWEEN ? AND ?");
        last.bind(1, table_.rollup.key_of(level, -kBinMax));
        last.bind(2, table_.rollup.key_of(level, kBinMax));
        if (last.step() && !last.is_null(0))
            levels_[level].last_stored = table_.rollup.bin_of_key(level, last.integer(0));
    }
    restore_finest();
    for (unsigned level = 1; level < levels_.size(); ++level) restore_level(level);
}

void RollupWriter::restore_finest() {
    std::vector<std::size_t> columns(current_.count.size());
    std::iota(columns.begin(), columns.end(), std::size_t{0});
    const auto& last = levels_.front().last_stored;
    SeriesRows rows(database_, table_, std::move(columns));
    rows.start(last ? table_.rollup.start_of(0, *last + 1) : std::numeric_limits<std::int64_t>::min(),
               std::numeric_limits<std::int64_t>::max());
    while (rows.next()) bin_at(0, table_.rollup.bin_of(0, rows.row().t_ns)).add(rows.row().numbers);
}

void RollupWriter::restore_level(unsigned level) {
    Level& at = levels_[level];
    const std::int64_t from = at.last_stored ? (*at.last_stored + 1) * 4 : -kBinMax;
    if (is_made_) {
        Statement stored(database_, "SELECT key, rows, data FROM " + identifier(table_.rollup_name()) +
                                        " WHERE key BETWEEN ? AND ? ORDER BY key");
        stored.bind(1, table_.rollup.key_of(level - 1, from));
        stored.bind(2, table_.rollup.key_of(level - 1, kBinMax));
        RollupBin bin(current_.count.size());
        while (stored.step())
            if (decode_bin(stored.blob(2), stored.integer(1), table_.codes, bin))
                bin_at(level, table_.rollup.bin_of_key(level - 1, stored.integer(0)) >> 2).merge(bin);
    }
    const Level& below = levels_[level - 1];
    for (auto bin = below.bins.lower_bound(from); bin != below.bins.end(); ++bin)
        bin_at(level, bin->first >> 2).merge(bin->second);
}

} // namespace turnstone
