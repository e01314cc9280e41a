#pragma once
/// Rollups: minimum, maximum, sum and count per bin of time at several widths, updated while rows are written, so that
/// any window is drawn from few rows.
///
/// Invariant after every write(): per level, each bin at or before the last stored one holds every row of
/// that bin written so far. Later rows are in finer levels or, in the end, in the series' own table; a reader needs
/// nothing else. Bins are therefore written a page at a time, not with every commit.
#include <cstdint>
#include <map>
#include <optional>
#include <span>
#include <vector>

#include "server/record/format/layout.hpp"
#include "server/record/format/rollup_bin.hpp"
#include "server/record/format/sqlite.hpp"

namespace turnstone {

/// The rollups of one series in one open file. Its rollup table is made with the first bins.
class RollupWriter {
  public:
    /// Restores the open bins of a file that was written to before. `table` must outlive it, and its rows must be in
    /// the file already.
    RollupWriter(Database& database, const StoredTable& table);
    void add(std::int64_t t_ns, std::span<const double> numbers);
    /// Writes what has to be, inside the caller's transaction. The newest bin of each level stays in memory.
    void write();

  private:
    struct Level {
        std::map<std::int64_t, RollupBin> bins; ///< not stored, or changed since
        std::optional<std::int64_t> last_stored;
    };
    void prepare();
    void spread();
    RollupBin& bin_at(unsigned level, std::int64_t bin);
    [[nodiscard]] std::optional<RollupBin> load(unsigned level, std::int64_t bin);
    void restore();
    void restore_finest();
    void restore_level(unsigned level);

    Database& database_;
    const StoredTable& table_;
    std::vector<Level> levels_;
    std::optional<std::int64_t> current_bin_; ///< of level 0: rows in `current_` are not in `levels_` yet
    RollupBin current_;
    bool is_made_ = false;
    Statement select_, replace_;
    std::vector<std::byte> scratch_;
};

} // namespace turnstone
