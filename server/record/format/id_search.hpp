#pragma once
/// Finds times in a table without an index: ids count rows in the order they were made, which is the order of their
/// times but for a known slack and for rows that are known to be late.
#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "server/record/format/sqlite.hpp"

namespace turnstone {

/// Times of rows that lie farther from the recording's start come from damage: such rows are passed over.
inline constexpr std::int64_t kRowTimeMax_ns = std::int64_t{1} << 60; // 36 years
[[nodiscard]] constexpr bool is_row_time(std::int64_t stored_ns) noexcept {
    return -kRowTimeMax_ns <= stored_ns && stored_ns <= kRowTimeMax_ns;
}

class IdSearch {
  public:
    /// Neighbours, but for a few rows between them. Without slack, every row up to `before` is earlier than the time,
    /// and none from `after` on; either may be an id beyond the table's ends.
    struct Place {
        std::int64_t before, after;
    };
    using IsLate = std::function<bool(std::int64_t id)>;

    IdSearch(
        Database& database, const std::string& table, const std::string& id, const std::string& time,
        IsLate is_late = [](std::int64_t) { return false; });
    [[nodiscard]] Place place_of(std::int64_t stored_ns);

  private:
    struct Row {
        std::int64_t id, t_ns;
    };
    /// The first row from `id` on, the last up to `id`, that are in order.
    [[nodiscard]] std::optional<Row> row_from(std::int64_t id);
    [[nodiscard]] std::optional<Row> row_up_to(std::int64_t id);
    [[nodiscard]] std::optional<Row> first_in_order(Statement& rows, std::int64_t id) const;
    void narrow(Row& low, Row& high, std::int64_t stored_ns) const;
    void remember(const Row& row);

    Statement from_, up_to_;
    IsLate is_late_;
    std::vector<Row> known_; ///< by id: looked at before; rows never change
};

} // namespace turnstone
