#pragma once
/// How a record lies in an SQL table: one list of columns, each with its name, how it is bound from the record and how
/// it is read back. INSERT and SELECT name their columns from that list, so that nothing depends on the order in
/// schema.sql. The lists: fixed_tables.hpp.
#include <algorithm>
#include <concepts>
#include <cstdint>
#include <iterator>
#include <limits>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "server/record/format/sqlite.hpp"
#include "shared/words.hpp"

namespace turnstone {

inline constexpr std::int64_t kEveryLayout = std::numeric_limits<std::int64_t>::max();

/// `base_ns`: the station time that the file's times are counted from.
template <class Row>
struct StoredColumn {
    std::string_view name;
    void (*bind)(Statement& insert, int place, const Row& row, std::int64_t base_ns);
    void (*read)(const Statement& select, int place, Row& row, std::int64_t base_ns);
    std::int64_t since_layout = 1;            ///< a file of an older one has no such column: the row keeps its default
    std::int64_t until_layout = kEveryLayout; ///< the same for newer ones
    [[nodiscard]] bool is_in(std::int64_t layout) const { return since_layout <= layout && layout <= until_layout; }
};

/// Station time that the times in a file are counted from: the recording's start, 0 in layout 1.
/// Bounded like every time.
[[nodiscard]] std::int64_t time_base_ns(Database& database);

/// A damaged file holds any number; sums and differences of what this gives are in range.
inline constexpr std::int64_t kTimeMax_ns = std::int64_t{1} << 62;
[[nodiscard]] constexpr std::int64_t station_time_ns(std::int64_t stored_ns, std::int64_t base_ns) noexcept {
    return std::clamp(std::clamp(stored_ns, -kTimeMax_ns, kTimeMax_ns) + base_ns, -kTimeMax_ns, kTimeMax_ns);
}
[[nodiscard]] constexpr std::int64_t stored_time_ns(std::int64_t t_ns, std::int64_t base_ns) noexcept {
    return station_time_ns(t_ns, -base_ns);
}

template <class Row>
struct FixedTable {
    std::string_view name;
    std::span<const StoredColumn<Row>> columns;
    std::string_view verb = "INSERT"; ///< how a row goes in
};

/// What a value is in SQL.
struct AsIs {
    template <std::integral Value>
    static void bind(Statement& insert, int place, Value value) {
        insert.bind(place, static_cast<std::int64_t>(value));
    }
    static void bind(Statement& insert, int place, double value) { insert.bind(place, value); }
    static void bind(Statement& insert, int place, const std::string& value) {
        insert.bind(place, std::string_view(value));
    }
    template <std::integral Value>
    static void read(const Statement& select, int place, Value& value) {
        value = static_cast<Value>(select.integer(place));
    }
    static void read(const Statement& select, int place, double& value) { value = select.number(place); }
    static void read(const Statement& select, int place, std::string& value) { value = select.text(place); }
};
/// A number that is -1 when there is none.
struct NullIfNegative {
    template <std::integral Value>
    static void bind(Statement& insert, int place, Value value) {
        if (value < 0)
            insert.bind_null(place);
        else
            AsIs::bind(insert, place, value);
    }
    template <std::integral Value>
    static void read(const Statement& select, int place, Value& value) {
        value = select.is_null(place) ? Value{-1} : static_cast<Value>(select.integer(place));
    }
};
struct NullIfEmpty {
    static void bind(Statement& insert, int place, const std::string& value) {
        if (value.empty())
            insert.bind_null(place);
        else
            AsIs::bind(insert, place, value);
    }
    static void read(const Statement& select, int place, std::string& value) { value = select.text(place); }
};
/// The enumerator's number; one that is none (a damaged file holds any) reads as the nearest.
struct AsNumber {
    template <HasWords Enum>
    static void bind(Statement& insert, int place, Enum value) {
        insert.bind(place, static_cast<std::int64_t>(value));
    }
    template <HasWords Enum>
    static void read(const Statement& select, int place, Enum& value) {
        value = from_number<Enum>(select.integer(place));
    }
};
/// The enumerator's word; one that is none reads as `otherwise`.
template <auto otherwise>
struct AsWord {
    using Enum = decltype(otherwise);
    static void bind(Statement& insert, int place, Enum value) { insert.bind(place, word(value)); }
    static void read(const Statement& select, int place, Enum& value) {
        value = from_word<Enum>(select.text(place)).value_or(otherwise);
    }
};

/// A station time, counted from the recording's start.
struct SinceStart {
    static void bind(Statement& insert, int place, std::int64_t t_ns, std::int64_t base_ns) {
        insert.bind(place, t_ns - base_ns);
    }
    static void read(const Statement& select, int place, std::int64_t& t_ns, std::int64_t base_ns) {
        t_ns = station_time_ns(select.integer(place), base_ns);
    }
};

template <class Row, class Member>
Row row_of(Member Row::*);

/// A column that holds one member of the row, or a member of that: column<AsIs, &FrameRow::frame, &FrameRecord::link>.
template <class How, auto member, auto... deeper>
constexpr auto column(std::string_view name, std::int64_t since_layout = 1) {
    using Row = decltype(row_of(member));
    return StoredColumn<Row>{
        name,
        [](Statement& insert, int place, const Row& row, std::int64_t base_ns) {
            if constexpr (requires { How::bind(insert, place, ((row.*member).*....*deeper), base_ns); })
                How::bind(insert, place, ((row.*member).*....*deeper), base_ns);
            else
                How::bind(insert, place, ((row.*member).*....*deeper));
        },
        [](const Statement& select, int place, Row& row, std::int64_t base_ns) {
            if constexpr (requires { How::read(select, place, ((row.*member).*....*deeper), base_ns); })
                How::read(select, place, ((row.*member).*....*deeper), base_ns);
            else
                How::read(select, place, ((row.*member).*....*deeper));
        },
        since_layout};
}

/// The columns that a table has in the database's layout.
template <class Row>
std::vector<StoredColumn<Row>> columns_in(Database& database, const FixedTable<Row>& table) {
    const std::int64_t layout = database.integer("PRAGMA user_version");
    std::vector<StoredColumn<Row>> columns;
    std::ranges::copy_if(table.columns, std::back_inserter(columns),
                         [layout](const StoredColumn<Row>& each) { return each.is_in(layout); });
    return columns;
}

template <class Row>
class RowInsert {
  public:
    RowInsert() = default;
    RowInsert(Database& database, const FixedTable<Row>& table)
        : columns_(columns_in(database, table)), base_ns_(time_base_ns(database)) {
        std::string names, places;
        for (const StoredColumn<Row>& each : columns_) {
            names += (names.empty() ? "" : ", ") + std::string(each.name);
            places += places.empty() ? "?" : ", ?";
        }
        insert_ = Statement(database, std::string(table.verb) + " INTO " + std::string(table.name) + " (" + names +
                                          ") VALUES (" + places + ")");
    }
    void write(const Row& row) {
        int place = 0;
        for (const StoredColumn<Row>& each : columns_) each.bind(insert_, ++place, row, base_ns_);
        insert_.run();
    }

  private:
    std::vector<StoredColumn<Row>> columns_;
    std::int64_t base_ns_ = 0;
    Statement insert_;
};

template <class Row>
class RowSelect {
  public:
    /// `rest`: what follows the table's name, as "WHERE id > ? ORDER BY id".
    RowSelect(Database& database, const FixedTable<Row>& table, const std::string& rest)
        : columns_(columns_in(database, table)), base_ns_(time_base_ns(database)) {
        std::string sql = "SELECT ";
        for (const StoredColumn<Row>& each : columns_) {
            if (&each != &columns_.front()) sql += ", ";
            sql += each.name;
        }
        select_ = Statement(database, sql + " FROM " + std::string(table.name) + " " + rest);
    }
    template <class Value>
    void bind(int place, const Value& value) {
        select_.bind(place, value);
    }
    /// Before other values are bound.
    void start_again() {
        select_.reset();
        more_ = true;
    }
    /// True while there is a row; once false, it stays so.
    bool step() {
        more_ = more_ && select_.step();
        return more_;
    }
    [[nodiscard]] Row row() const {
        Row row{};
        int place = 0;
        for (const StoredColumn<Row>& each : columns_) each.read(select_, place++, row, base_ns_);
        return row;
    }

  private:
    std::vector<StoredColumn<Row>> columns_;
    std::int64_t base_ns_ = 0;
    Statement select_;
    bool more_ = true;
};

} // namespace turnstone
