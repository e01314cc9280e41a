#pragma once
/// How a record lies in an SQL table: one list of columns, each with its name, how it is bound from the record and how
/// it is read back. INSERT and SELECT name their columns from that list, so that nothing depends on the order in
/// schema.sql. The lists: fixed_tables.hpp.
#include <concepts>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>

#include "server/record/format/sqlite.hpp"
#include "shared/words.hpp"

namespace turnstone {

template <class Row>
struct StoredColumn {
    std::string_view name;
    void (*bind)(Statement& insert, int place, const Row& row);
    void (*read)(const Statement& select, int place, Row& row);
    std::int64_t since_layout = 1; ///< reads as NULL in a file of an older one
};

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

template <class Row, class Member>
Row row_of(Member Row::*);

/// A column that holds one member of the row, or a member of that: column<AsIs, &FrameRow::frame, &FrameRecord::link>.
template <class How, auto member, auto... deeper>
constexpr auto column(std::string_view name, std::int64_t since_layout = 1) {
    using Row = decltype(row_of(member));
    return StoredColumn<Row>{
        name,
        [](Statement& insert, int place, const Row& row) { How::bind(insert, place, ((row.*member).*....*deeper)); },
        [](const Statement& select, int place, Row& row) { How::read(select, place, ((row.*member).*....*deeper)); },
        since_layout};
}

template <class Row>
class RowInsert {
  public:
    RowInsert() = default;
    RowInsert(Database& database, const FixedTable<Row>& table) : columns_(table.columns) {
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
        for (const StoredColumn<Row>& each : columns_) each.bind(insert_, ++place, row);
        insert_.run();
    }

  private:
    std::span<const StoredColumn<Row>> columns_;
    Statement insert_;
};

template <class Row>
class RowSelect {
  public:
    /// `rest`: what follows the table's name, as "WHERE id > ? ORDER BY id".
    RowSelect(Database& database, const FixedTable<Row>& table, const std::string& rest) : columns_(table.columns) {
        const std::int64_t layout = database.integer("PRAGMA user_version");
        std::string sql = "SELECT ";
        for (const StoredColumn<Row>& each : columns_) {
            if (&each != &columns_.front()) sql += ", ";
            sql += each.since_layout > layout ? "NULL" : each.name;
        }
        select_ = Statement(database, sql + " FROM " + std::string(table.name) + " " + rest);
    }
    template <class Value>
    void bind(int place, const Value& value) {
        select_.bind(place, value);
    }
    /// True while there is a row; once false, it stays so.
    bool step() {
        more_ = more_ && select_.step();
        return more_;
    }
    [[nodiscard]] Row row() const {
        Row row{};
        int place = 0;
        for (const StoredColumn<Row>& each : columns_) each.read(select_, place++, row);
        return row;
    }

  private:
    std::span<const StoredColumn<Row>> columns_;
    Statement select_;
    bool more_ = true;
};

} // namespace turnstone
