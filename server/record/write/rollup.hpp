#pragma once
/// Rollups: minimum, maximum, sum and count per bin of time at several widths, updated while rows are written, so that
/// any window is drawn from few rows.
///
/// Invariant after every write(): per level, each bin at or before the last stored one holds every row of
/// that bin written so far. Later rows are in finer levels or, in the end, in the wide table; a reader needs nothing
/// else.
#include <array>
#include <cstdint>
#include <map>
#include <optional>
#include <span>
#include <vector>

#include "server/record/format/layout.hpp"
#include "server/record/format/sqlite.hpp"

namespace turnstone {

/// One bin. Where count[c] is 0, column c's other figures mean nothing.
struct RollupBin {
    std::uint32_t rows = 0;
    std::vector<std::uint32_t> count;
    std::vector<double> min, max, sum;

    RollupBin() = default;
    explicit RollupBin(std::size_t columns);
    void clear() noexcept;
    void add(std::span<const double> numbers) noexcept; ///< NaN is a missing value
    void merge(const RollupBin& other) noexcept;
};

/// Layout of `data` in schema.sql. `encode` overwrites `out`.
void encode_bin(const RollupBin& bin, std::vector<std::byte>& out);
/// Empty when `data` is not of that many columns.
[[nodiscard]] std::optional<RollupBin> decode_bin(std::span<const std::byte> data, std::int64_t rows,
                                                  std::size_t columns);

/// The rollups of one table in one open file.
class RollupWriter {
  public:
    /// Restores the open bins of a file that was written to before.
    RollupWriter(Database& database, const StoredTable& table);
    void add(std::int64_t t_ns, std::span<const double> numbers);
    /// Writes what changed, inside the caller's transaction. The newest bin of each level stays in memory
    /// unless `complete`.
    void write(bool complete);

  private:
    struct Level {
        std::map<std::int64_t, RollupBin> bins; ///< not stored, or changed since
        std::optional<std::int64_t> last_stored;
    };
    void spread();
    RollupBin& bin_at(unsigned level, std::int64_t bin);
    [[nodiscard]] std::optional<RollupBin> load(unsigned level, std::int64_t bin);
    void restore(Database& database, const StoredTable& table);

    RollupShape shape_;
    std::size_t columns_;
    std::vector<Level> levels_;
    std::optional<std::int64_t> current_bin_; ///< of level 0: rows in `current_` are not in `levels_` yet
    RollupBin current_;
    Statement select_, replace_;
    std::vector<std::byte> scratch_;
};

} // namespace turnstone
