#include "server/record/write/rollup.hpp"

#include <algorithm>
#include <bit>
#include <cstring>
#include <limits>

namespace turnstone {

static_assert(std::endian::native == std::endian::little, "rollup data is stored as it lies in memory");

RollupBin::RollupBin(std::size_t columns) : count(columns), min(columns), max(columns), sum(columns) {
    clear();
}

void RollupBin::clear() noexcept {
    rows = 0;
    std::ranges::fill(count, 0U);
    std::ranges::fill(min, std::numeric_limits<double>::infinity());
    std::ranges::fill(max, -std::numeric_limits<double>::infinity());
    std::ranges::fill(sum, 0.0);
}

void RollupBin::add(std::span<const double> numbers) noexcept {
    ++rows;
    for (std::size_t c = 0; c < numbers.size(); ++c) {
        const double value = numbers[c];
        // Comparisons with NaN are false: it leaves min and max alone and is left out of the sum.
        const bool valid = value == value;
        min[c] = value < min[c] ? value : min[c];
        max[c] = value > max[c] ? value : max[c];
        sum[c] += valid ? value : 0.0;
        count[c] += valid ? 1U : 0U;
    }
}

void RollupBin::merge(const RollupBin& other) noexcept {
    rows += other.rows;
    for (std::size_t c = 0; c < count.size(); ++c) {
        min[c] = std::min(min[c], other.min[c]);
        max[c] = std::max(max[c], other.max[c]);
        sum[c] += other.sum[c];
        count[c] += other.count[c];
    }
}

void encode_bin(const RollupBin& bin, std::vector<std::byte>& out) {
    const std::size_t columns = bin.count.size();
    out.resize(columns * (sizeof(std::uint32_t) + 3 * sizeof(double)));
    std::byte* to = out.data();
    const auto put = [&to](const auto& values) {
        const std::size_t octets = values.size() * sizeof(values[0]);
        if (octets > 0) std::memcpy(to, values.data(), octets);
        to += octets;
    };
    put(bin.count);
    put(bin.min);
    put(bin.max);
    put(bin.sum);
}

std::optional<RollupBin> decode_bin(std::span<const std::byte> data, std::int64_t rows, std::size_t columns) {
    if (data.size() != columns * (sizeof(std::uint32_t) + 3 * sizeof(double))) return std::nullopt;
    RollupBin bin(columns);
    bin.rows = static_cast<std::uint32_t>(rows);
    const std::byte* from = data.data();
    const auto get = [&from](auto& values) {
        const std::size_t octets = values.size() * sizeof(values[0]);
        if (octets > 0) std::memcpy(values.data(), from, octets);
        from += octets;
    };
    get(bin.count);
    get(bin.min);
    get(bin.max);
    get(bin.sum);
    return bin;
}

RollupWriter::RollupWriter(Database& database, const StoredTable& table)
    : shape_(table.rollup), columns_(table.table.number_count), levels_(table.rollup.levels), current_(columns_),
      select_(database, "SELECT rows, data FROM " + identifier(table.rollup_name()) + " WHERE key = ?"),
      replace_(database,
               "INSERT OR REPLACE INTO " + identifier(table.rollup_name()) + " (key, rows, data) VALUES (?, ?, ?)") {
    restore(database, table);
}

void RollupWriter::add(std::int64_t t_ns, std::span<const double> numbers) {
    const std::int64_t bin = shape_.bin_of(0, t_ns);
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
        for (unsigned level = 0; level < shape_.levels; ++level)
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
    return at.bins.emplace(bin, stored ? std::move(*stored) : RollupBin(columns_)).first->second;
}

std::optional<RollupBin> RollupWriter::load(unsigned level, std::int64_t bin) {
    select_.bind(1, shape_.key_of(level, bin));
    std::optional<RollupBin> result;
    if (select_.step()) result = decode_bin(select_.blob(1), select_.integer(0), columns_);
    select_.reset();
    return result;
}

void RollupWriter::write(bool complete) {
    spread();
    for (unsigned level = 0; level < shape_.levels; ++level) {
        Level& at = levels_[level];
        while (!at.bins.empty()) {
            const auto oldest = at.bins.begin();
            const bool newest = at.bins.size() == 1 && (!at.last_stored || oldest->first > *at.last_stored);
            if (newest && !complete) break;
            encode_bin(oldest->second, scratch_);
            replace_.bind(1, shape_.key_of(level, oldest->first));
            replace_.bind(2, std::int64_t{oldest->second.rows});
            replace_.bind(3, std::span<const std::byte>(scratch_));
            replace_.run();
            at.last_stored = std::max(at.last_stored.value_or(oldest->first), oldest->first);
            at.bins.erase(oldest);
        }
    }
}

/// Open bins of a file written before: the finest level from the wide table, each further one from the level
/// below it.
void RollupWriter::restore(Database& database, const StoredTable& table) {
    constexpr std::int64_t kBinMax = (std::int64_t{1} << 51) - 1;
    for (unsigned level = 0; level < shape_.levels; ++level) {
        Level& at = levels_[level];
        Statement last(database,
                       "SELECT max(key) FROM " + identifier(table.rollup_name()) + " WHERE key BETWEEN ? AND ?");
        last.bind(1, shape_.key_of(level, -kBinMax));
        last.bind(2, shape_.key_of(level, kBinMax));
        if (last.step() && !last.is_null(0)) at.last_stored = shape_.bin_of_key(level, last.integer(0));
        if (level == 0) {
            std::string sql = "SELECT t_ns";
            for (std::size_t c = 0; c < columns_; ++c) sql += ", " + identifier(table.column_sql_names[c]);
            Statement rows(database, sql + " FROM " + identifier(table.sql_name) + " WHERE t_ns >= ? ORDER BY t_ns");
            rows.bind(1, at.last_stored ? shape_.start_of(0, *at.last_stored + 1)
                                        : std::numeric_limits<std::int64_t>::min());
            std::vector<double> numbers(columns_);
            while (rows.step()) {
                for (std::size_t c = 0; c < columns_; ++c) numbers[c] = rows.number(static_cast<int>(c) + 1);
                bin_at(0, shape_.bin_of(0, rows.integer(0))).add(numbers);
            }
            continue;
        }
        const std::int64_t from = at.last_stored ? (*at.last_stored + 1) * 4 : -kBinMax;
        Statement stored(database, "SELECT key, rows, data FROM " + identifier(table.rollup_name()) +
                                       " WHERE key BETWEEN ? AND ? ORDER BY key");
        stored.bind(1, shape_.key_of(level - 1, from));
        stored.bind(2, shape_.key_of(level - 1, kBinMax));
        while (stored.step())
            if (const auto bin = decode_bin(stored.blob(2), stored.integer(1), columns_))
                bin_at(level, shape_.bin_of_key(level - 1, stored.integer(0)) >> 2).merge(*bin);
        for (auto below = levels_[level - 1].bins.lower_bound(from); below != levels_[level - 1].bins.end(); ++below)
            bin_at(level, below->first >> 2).merge(below->second);
    }
}

} // namespace turnstone
