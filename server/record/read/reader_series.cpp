/// Series of any window, read from few rows.
///
/// Bins of the window are made from the coarsest rollup level that is not coarser than they are. What a level lacks
/// (the window's two edges, and the newest rows) comes from the next finer one, in the end from the series' own table.
/// The answer is therefore exact for any window: the bins at its ends hold only rows inside it.
#include <algorithm>
#include <limits>
#include <memory>
#include <utility>

#include "server/record/format/rollup_bin.hpp"
#include "server/record/format/series_rows.hpp"
#include "server/record/format/stored_row.hpp"

#include "server/record/read/reader_state.hpp"

namespace turnstone {

namespace {

/// With more rows than this in the window, bins finer than the finest rollup are no longer made from single rows.
constexpr std::int64_t kRawRowsMax = 10'000;

class SeriesBuilder {
  public:
    SeriesBuilder(Database& database, const StoredTable& table, const SeriesQuery& query)
        : database_(database), table_(table), columns_(query.columns), rows_in_time_(database, table, query.columns),
          bin_(table.table.number_count), has_rollup_(has_table(database, table.rollup_name())) {}

    SeriesBlock build(std::int64_t from_ns, std::int64_t to_ns, std::size_t points);

  private:
    void collect(int level, std::int64_t from_ns, std::int64_t to_ns);
    void collect_rows(std::int64_t from_ns, std::int64_t to_ns);
    void collect_bins(unsigned level, std::int64_t first_bin, std::int64_t end_bin);
    void open_group(std::int64_t t_ns);
    void close_group();

    Database& database_;
    const StoredTable& table_;
    const std::vector<std::size_t>& columns_;
    SeriesRows rows_in_time_;
    RollupBin bin_;
    bool has_rollup_;
    std::int64_t from_ns_ = 0, to_ns_ = 0;
    unsigned out_shift_ = 0;
    SeriesBlock block_; ///< row-major while it grows
    // The group being gathered.
    std::optional<std::int64_t> group_;
    std::uint32_t rows_ = 0;
    std::vector<double> min_, max_, sum_;
    std::vector<std::uint64_t> count_;
};

void SeriesBuilder::open_group(std::int64_t t_ns) {
    const std::int64_t group = t_ns >> out_shift_;
    if (group_ != group) {
        close_group();
        group_ = group;
        rows_ = 0;
        min_.assign(columns_.size(), std::numeric_limits<double>::infinity());
        max_.assign(columns_.size(), -std::numeric_limits<double>::infinity());
        sum_.assign(columns_.size(), 0.0);
        count_.assign(columns_.size(), 0);
    }
}

void SeriesBuilder::close_group() {
    if (!group_) return;
    const std::int64_t middle_ns = *group_ * (std::int64_t{1} << out_shift_) + (std::int64_t{1} << out_shift_) / 2;
    block_.t_ns.push_back(std::clamp(middle_ns, from_ns_, to_ns_ - 1));
    block_.count.push_back(rows_);
    for (std::size_t c = 0; c < columns_.size(); ++c) {
        constexpr double kNone = std::numeric_limits<double>::quiet_NaN();
        block_.min.push_back(count_[c] > 0 ? min_[c] : kNone);
        block_.max.push_back(count_[c] > 0 ? max_[c] : kNone);
        block_.mean.push_back(count_[c] > 0 ? sum_[c] / static_cast<double>(count_[c]) : kNone);
    }
    ++block_.rows;
    group_.reset();
}

void SeriesBuilder::collect_rows(std::int64_t from_ns, std::int64_t to_ns) {
    rows_in_time_.start(from_ns, to_ns);
    while (rows_in_time_.next()) {
        const SeriesRow& row = rows_in_time_.row();
        if (!block_.decimated) {
            block_.t_ns.push_back(row.t_ns);
            block_.count.push_back(1);
            block_.mean.insert(block_.mean.end(), row.numbers.begin(), row.numbers.end());
            ++block_.rows;
            continue;
        }
        open_group(row.t_ns);
        ++rows_;
        for (std::size_t c = 0; c < columns_.size(); ++c) {
            const double value = row.numbers[c];
            if (value == value) {
                min_[c] = std::min(min_[c], value);
                max_[c] = std::max(max_[c], value);
                sum_[c] += value;
                ++count_[c];
            }
        }
    }
}

void SeriesBuilder::collect_bins(unsigned level, std::int64_t first_bin, std::int64_t end_bin) {
    Statement bins(database_, "SELECT key, rows, data FROM " + identifier(table_.rollup_name()) +
                                  " WHERE key >= ? AND key < ? ORDER BY key");
    bins.bind(1, table_.rollup.key_of(level, first_bin));
    bins.bind(2, table_.rollup.key_of(level, end_bin));
    while (bins.step()) {
        const bool good = table_.is_indexed
                              ? decode_bin_1(bins.blob(2), bins.integer(1), table_.table.number_count, bin_)
                              : decode_bin(bins.blob(2), bins.integer(1), table_.codes, bin_);
        if (!good) {
            throw SqliteError(SQLITE_CORRUPT, "bin " + std::to_string(bins.integer(0)) + " of " + table_.rollup_name() +
                                                  " is not one of " + std::to_string(table_.table.number_count) +
                                                  " columns");
        }
        open_group(table_.rollup.start_of(level, table_.rollup.bin_of_key(level, bins.integer(0))));
        rows_ += bin_.rows;
        for (std::size_t c = 0; c < columns_.size(); ++c) {
            const std::size_t from = columns_[c];
            if (bin_.count[from] > 0) {
                min_[c] = std::min(min_[c], bin_.min[from]);
                max_[c] = std::max(max_[c], bin_.max[from]);
                sum_[c] += bin_.sum[from];
                count_[c] += bin_.count[from];
            }
        }
    }
}

/// [from, to) from whole stored bins of `level`, and its edges and what is newer from finer levels. Level -1:
/// single rows.
void SeriesBuilder::collect(int level, std::int64_t from_ns, std::int64_t to_ns) {
    if (from_ns >= to_ns) return;
    if (level < 0 || !has_rollup_) {
        collect_rows(from_ns, to_ns);
        return;
    }
    const RollupShape& shape = table_.rollup;
    const auto at = static_cast<unsigned>(level);
    Statement last(database_,
                   "SELECT max(key) FROM " + identifier(table_.rollup_name()) + " WHERE key >= ? AND key < ?");
    last.bind(1, shape.key_of(at, -(std::int64_t{1} << 51)));
    last.bind(2, shape.key_of(at, std::int64_t{1} << 51));
    std::int64_t first_bin = shape.bin_of(at, from_ns);
    if (shape.start_of(at, first_bin) < from_ns) ++first_bin;
    std::int64_t end_bin = shape.bin_of(at, to_ns);
    if (last.step() && !last.is_null(0))
        end_bin = std::min(end_bin, shape.bin_of_key(at, last.integer(0)) + 1);
    else
        end_bin = first_bin;
    if (first_bin >= end_bin) {
        collect(level - 1, from_ns, to_ns);
        return;
    }
    collect(level - 1, from_ns, shape.start_of(at, first_bin));
    collect_bins(at, first_bin, end_bin);
    collect(level - 1, shape.start_of(at, end_bin), to_ns);
}

SeriesBlock SeriesBuilder::build(std::int64_t from_ns, std::int64_t to_ns, std::size_t points) {
    from_ns_ = std::clamp(from_ns, -kTimeMax_ns, kTimeMax_ns);
    to_ns_ = std::clamp(to_ns, -kTimeMax_ns, kTimeMax_ns);
    rows_in_time_.start(from_ns_, to_ns_);
    if (!rows_in_time_.next()) return {};
    const std::int64_t first_ns = rows_in_time_.row().t_ns;
    rows_in_time_.reset();
    if (!rows_in_time_.find_last(to_ns_ - 1)) return {};
    const std::int64_t last_ns = rows_in_time_.row().t_ns;
    const std::int64_t end_ns = last_ns + 1;
    const auto budget = static_cast<std::int64_t>(points);
    const std::int64_t rows = rows_in_time_.count(first_ns, end_ns, budget, std::max(budget, kRawRowsMax) + 1);
    if (rows <= budget) {
        collect_rows(first_ns, end_ns);
    } else {
        block_.decimated = true;
        // In unsigned numbers, because a damaged file's times lie up to two centuries apart.
        const auto bins = [&] {
            return static_cast<std::uint64_t>(last_ns >> out_shift_) -
                   static_cast<std::uint64_t>(first_ns >> out_shift_) + 1;
        };
        while (out_shift_ < 62 && bins() > points) ++out_shift_;
        int level = -1;
        if (out_shift_ >= table_.rollup.shift) {
            level = static_cast<int>(std::min(table_.rollup.levels - 1, (out_shift_ - table_.rollup.shift) / 2));
        } else if (rows > kRawRowsMax) {
            out_shift_ = table_.rollup.shift;
            level = 0;
        }
        collect(level, first_ns, end_ns);
        close_group();
    }
    // Row-major to column-major.
    const auto transpose = [this](std::vector<double>& values) {
        std::vector<double> turned(values.size());
        for (std::size_t i = 0; i < block_.rows; ++i)
            for (std::size_t c = 0; c < columns_.size(); ++c)
                turned[c * block_.rows + i] = values[i * columns_.size() + c];
        values = std::move(turned);
    };
    transpose(block_.mean);
    if (block_.decimated) {
        transpose(block_.min);
        transpose(block_.max);
    } else {
        block_.min = block_.max = block_.mean;
    }
    return std::move(block_);
}

} // namespace

Result<SeriesBlock> RecordingReader::series(const SeriesQuery& query) {
    if (query.table >= state_->tables.size()) {
        return fail("table " + std::to_string(query.table) + ": this recording has tables 0 to " +
                    std::to_string(state_->tables.size()) + " (last excluded)");
    }
    const StoredTable& table = state_->tables[query.table];
    for (const std::size_t column : query.columns) {
        if (column >= table.table.number_count) {
            return fail("column " + std::to_string(column) + " of " + table.table.name + ": only its " +
                        std::to_string(table.table.number_count) + " number columns can be drawn");
        }
    }
    if (query.points == 0) return fail("points is 0; ask for at least one");
    if (query.from_ns >= query.to_ns) return SeriesBlock{};
    try {
        const ReadTransaction transaction(state_->database);
        state_->look_for_series();
        if (!state_->has_rows(query.table)) return SeriesBlock{};
        return SeriesBuilder(state_->database, table, query).build(query.from_ns, query.to_ns, query.points);
    } catch (const SqliteError& failure) {
        state_->note_damage(failure);
        return fail(state_->path.string() + ": " + failure.what());
    }
}

struct RowStream::Open {
    Open(RecordingReader::State& of, std::vector<ColumnChoice> chosen)
        : state(of), transaction(of.database), choices(std::move(chosen)), rows(choices.size()) {
        state.look_for_series();
        for (std::size_t i = 0; i < choices.size(); ++i) {
            const TableId table = choices[i].table;
            if (table < state.tables.size() && state.has_rows(table))
                rows[i] = std::make_unique<SeriesRows>(state.database, state.tables[table], choices[i].columns);
        }
    }

    /// Comes after another: later, or as late and of a later choice.
    struct After {
        const std::vector<std::unique_ptr<SeriesRows>>& rows;
        bool operator()(std::size_t a, std::size_t b) const {
            return std::pair(rows[a]->row().t_ns, a) > std::pair(rows[b]->row().t_ns, b);
        }
    };

    void push(std::size_t choice) {
        if (!rows[choice]->next()) return;
        heads.push_back(choice);
        std::ranges::push_heap(heads, After{rows});
    }

    void start(std::int64_t from_ns, std::int64_t to_ns, std::optional<std::size_t> only) {
        heads.clear();
        given.reset();
        for (std::size_t i = 0; i < rows.size(); ++i) {
            if (!rows[i] || (only && *only != i)) continue;
            rows[i]->start(std::clamp(from_ns, -kTimeMax_ns, kTimeMax_ns),
                           std::clamp(to_ns, -kTimeMax_ns, kTimeMax_ns));
            push(i);
        }
    }

    /// The choice of the next row.
    std::optional<std::size_t> next() {
        if (given) push(*given);
        given.reset();
        if (heads.empty()) return given;
        std::ranges::pop_heap(heads, After{rows});
        given = heads.back();
        heads.pop_back();
        return given;
    }

    RecordingReader::State& state;
    ReadTransaction transaction;
    std::vector<ColumnChoice> choices;
    std::vector<std::unique_ptr<SeriesRows>> rows; ///< null: none of that table
    std::vector<std::size_t> heads;                ///< choices with a row to give: a heap, the oldest first
    std::optional<std::size_t> given;              ///< whose row was given last, and is still in use
};

RowStream::RowStream(std::unique_ptr<Open> open) : open_(std::move(open)) {}
RowStream::RowStream(RowStream&&) noexcept = default;
RowStream& RowStream::operator=(RowStream&&) noexcept = default;
RowStream::~RowStream() = default;

RowStream RecordingReader::stream(std::vector<ColumnChoice> choices) {
    try {
        return RowStream(std::make_unique<RowStream::Open>(*state_, std::move(choices)));
    } catch (const SqliteError& failure) {
        state_->note_damage(failure);
        return RowStream(nullptr);
    }
}

void RowStream::start(std::int64_t from_ns, std::int64_t to_ns, std::optional<std::size_t> only) {
    if (!open_) return;
    try {
        open_->start(from_ns, to_ns, only);
    } catch (const SqliteError& failure) {
        open_->state.note_damage(failure);
        open_->heads.clear();
    }
}

bool RowStream::next() {
    if (!open_) return false;
    try {
        const auto choice = open_->next();
        if (!choice) return false;
        const SeriesRow& row = open_->rows[*choice]->row();
        row_ = {*choice, row.t_ns, row.numbers, row.texts};
        return true;
    } catch (const SqliteError& failure) {
        open_->state.note_damage(failure);
        open_->heads.clear();
        open_->given.reset();
        return false;
    }
}

} // namespace turnstone
