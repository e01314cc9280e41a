#pragma once
/// A recording as reports and debriefs ask of it: tables and columns by name, rows by time, events with their facts.
/// Damage is passed over, and said by whoever shows it.
#include <cstddef>
#include <cstdint>
#include <initializer_list>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "server/record/by_name/trace.hpp"
#include "server/record/read/reader.hpp"

namespace turnstone {

struct Window {
    std::int64_t from_ns;
    std::int64_t to_ns; ///< exclusive
};

/// Values of one row by the names of their columns; NaN for a column there is not.
class RowValues {
  public:
    RowValues(const Table& table, std::int64_t t_ns, std::vector<double> numbers)
        : table_(&table), t_ns_(t_ns), numbers_(std::move(numbers)) {}

    [[nodiscard]] std::int64_t t_ns() const noexcept { return t_ns_; }
    [[nodiscard]] double value(std::string_view column) const;
    /// 1-sigma of the column; NaN when there is none.
    [[nodiscard]] double sigma(std::string_view column) const;
    /// The word of an enumeration's value; empty when it has none.
    [[nodiscard]] std::string word_of(std::string_view column) const;
    [[nodiscard]] const Table& table() const noexcept { return *table_; }

  private:
    const Table* table_;
    std::int64_t t_ns_;
    std::vector<double> numbers_;
};

/// Place among Table::columns of the number column with that name.
[[nodiscard]] std::optional<std::size_t> number_column(const Table& table, std::string_view name);

struct ColumnPlace {
    const Table* table;
    std::size_t column;

    [[nodiscard]] const Column& about() const { return table->columns[column]; }
};

class Recorded {
  public:
    static constexpr std::size_t kAllRows = 1'000'000;

    /// `reader` must outlive it.
    explicit Recorded(RecordingReader& reader);

    [[nodiscard]] const RecordingInfo& info() const noexcept { return info_; }
    [[nodiscard]] const SetupDescription& setup() const noexcept { return setup_; }
    /// All, in the order of their times.
    [[nodiscard]] const std::vector<Event>& events() const noexcept { return events_; }
    [[nodiscard]] Window whole() const noexcept { return {info_.t_start_ns, info_.t_end_ns + 1}; }
    [[nodiscard]] std::int64_t utc_ns(std::int64_t t_ns) const noexcept {
        return t_ns - info_.t_start_ns + info_.utc_start_ns;
    }
    [[nodiscard]] const std::string& vehicle_name(std::size_t vehicle) const {
        return setup_.vehicles.at(vehicle).name;
    }

    /// "link/radio", or one of a vehicle.
    [[nodiscard]] const Table* table(std::string_view name) const;
    [[nodiscard]] const Table* table(std::size_t vehicle, std::string_view name) const;
    [[nodiscard]] std::optional<ColumnPlace> column(const Table* table, std::string_view name) const;
    /// The first of the vehicle's columns that has one of these roles, the first role first.
    [[nodiscard]] std::optional<ColumnPlace> with_role(std::size_t vehicle,
                                                       std::initializer_list<std::string_view> roles) const;

    /// The same, of those that have at least `least` rows with a value in the window.
    [[nodiscard]] std::optional<ColumnPlace> with_rows(std::size_t vehicle,
                                                       std::initializer_list<std::string_view> roles, Window window,
                                                       std::size_t least) const;
    [[nodiscard]] const std::vector<Table>& tables() const { return reader_.schema().tables; }

    /// Values in seconds since `origin_ns`, at most `points` of them, with the extremes where several became one.
    /// Breaks where rows are missing.
    [[nodiscard]] Trace trace(const ColumnPlace& place, Window window, std::int64_t origin_ns,
                              std::size_t points) const;
    /// Every row of some number columns, or at most `points` of them.
    [[nodiscard]] SeriesBlock rows(const Table& table, const std::vector<std::size_t>& columns, Window window,
                                   std::size_t points = kAllRows) const;
    /// The last row at or before `t_ns`.
    [[nodiscard]] std::optional<RowValues> row_at(const Table* table, std::int64_t t_ns) const;
    /// Rows of a table in the window, oldest first, at most `most`.
    [[nodiscard]] std::vector<RowValues> rows_of(const Table* table, Window window, std::size_t most) const;
    [[nodiscard]] const std::string& damage() const { return reader_.damage(); }

  private:
    RecordingReader& reader_;
    RecordingInfo info_;
    SetupDescription setup_;
    std::vector<Event> events_;
};

/// The word of what happened; empty for an event of a recording that does not say.
[[nodiscard]] std::string_view what(const Event& event);
/// Facts of an event by name: NaN, empty or false without it.
[[nodiscard]] double number_in(const Event& event, std::string_view name);
[[nodiscard]] std::string text_in(const Event& event, std::string_view name);
[[nodiscard]] bool flag_in(const Event& event, std::string_view name);
[[nodiscard]] std::vector<std::string> texts_in(const Event& event, std::string_view name);

} // namespace turnstone
