#pragma once
/// Finds times in a series' table without an index: ids count rows in the order they were made, which is the order of
/// their times but for a known slack.
#include <cstdint>
#include <optional>
#include <string>

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

    /// `condition`: SQL that leaves out rows which are not in order.
    IdSearch(Database& database, const std::string& table, const std::string& id, const std::string& time,
             const std::string& condition = "TRUE");
    [[nodiscard]] Place place_of(std::int64_t stored_ns);

  private:
    struct Row {
        std::int64_t id, t_ns;
    };
    /// The first row from `id` on.
    [[nodiscard]] std::optional<Row> row_from(std::int64_t id);
    [[nodiscard]] std::optional<Row> last_row();

    Statement from_, last_;
    std::optional<Row> first_, found_; ///< rows never change
};

} // namespace turnstone
