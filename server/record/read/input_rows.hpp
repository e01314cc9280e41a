#pragma once
/// The stored inputs of one kind in their order, also out of a damaged table.
#include <cstdint>
#include <limits>
#include <string>
#include <utility>

#include "server/record/format/fixed_tables.hpp"

namespace turnstone {

/// Rows of `chunk` or `action`. With `pass_over_damage`, a page that cannot be read, or that holds rows of another
/// place, costs the rows on it and no others: rows are found by their number, so the search goes on behind it.
template <class Row>
class InputRows {
  public:
    InputRows(Database& database, const FixedTable<Row>& table, bool pass_over_damage)
        : pass_over_damage_(pass_over_damage), rows_(database, table, "WHERE input >= ? ORDER BY input") {
        rows_.bind(1, std::int64_t{0});
    }

    /// False when there is none left. Without `pass_over_damage`, throws SqliteError at damage.
    bool next() {
        try {
            if (!step_to(next_input_)) return false;
        } catch (const SqliteError& error) {
            if (!pass_over_damage_) throw;
            if (damage_.empty()) damage_ = error.what();
            if (!find_next()) return false;
        }
        next_input_ = static_cast<std::int64_t>(input_of(row_)) + 1;
        return true;
    }
    [[nodiscard]] Row& row() noexcept { return row_; }
    /// What SQLite said of the first page that could not be read; empty: all could.
    [[nodiscard]] const std::string& damage() const noexcept { return damage_; }

  private:
    static std::uint64_t input_of(const ChunkRow& row) noexcept { return row.chunk.input; }
    static std::uint64_t input_of(const ActionRecord& row) noexcept { return row.input; }

    /// Throws SqliteError where a row has a number that cannot come any more: SQLite goes by a page's place, whatever
    /// is on it, and so would come to the same page again and again.
    bool step_to(std::int64_t input) {
        if (!rows_.step()) return false;
        row_ = rows_.row();
        if (std::cmp_less(input_of(row_), input))
            throw SqliteError(SQLITE_CORRUPT, "an input stands behind later ones");
        return true;
    }

    /// To the first row behind the damage. Steps grow with the distance: what is behind a long damage is reached within
    /// some thousand tries, for a sixty-fourth of its length that is whole and yet not found.
    bool find_next() {
        constexpr std::int64_t kLast = std::numeric_limits<std::int64_t>::max() / 2;
        for (std::int64_t distance = 0; next_input_ + distance < kLast; distance += 1 + distance / 64) {
            try {
                rows_.start_again();
                rows_.bind(1, next_input_ + distance);
                return step_to(next_input_ + distance);
            } catch (const SqliteError&) {
                continue; // still damaged; it is noted
            }
        }
        return false;
    }

    const bool pass_over_damage_;
    RowSelect<Row> rows_;
    Row row_{};
    std::int64_t next_input_ = 0; ///< none with a smaller number is left
    std::string damage_;
};

} // namespace turnstone
