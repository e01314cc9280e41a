// Comma-separated values after RFC 4180, with its own examples (section 2).
#include <catch2/catch.hpp>

#include <string>
#include <vector>

#include "server/analysis/mass/csv.hpp"

using namespace turnstone;

namespace {

using Cells = std::vector<std::vector<std::string>>;

Cells cells_of(const std::string& text) {
    const auto rows = read_csv(text);
    INFO(text);
    REQUIRE(rows);
    Cells cells;
    for (const CsvRow& row : *rows) cells.push_back(row.cells);
    return cells;
}

} // namespace

TEST_CASE("comma-separated values are read as RFC 4180 has them") {
    struct Case {
        const char* what;
        std::string text;
        Cells cells;
    };
    const Case cases[] = {
        {"2.1: rows end in CR LF", "aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", {{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}}},
        {"2.2: the last need not", "aaa,bbb,ccc\r\nzzz,yyy,xxx", {{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}}},
        {"2.4: spaces are part of a cell", "a , b\r\n", {{"a ", " b"}}},
        {"2.5: quotes around a cell",
         "\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx",
         {{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}}},
        {"2.6: a line end within quotes", "\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz", {{"aaa", "b\r\nbb", "ccc"}, {"zzz"}}},
        {"2.7: a quote is doubled", "\"aaa\",\"b\"\"bb\",\"ccc\"", {{"aaa", "b\"bb", "ccc"}}},
        {"LF alone", "a,b\nc,d\n", {{"a", "b"}, {"c", "d"}}},
        {"a byte order mark",
         "\xEF\xBB\xBF"
         "a,b\r\n",
         {{"a", "b"}}},
        {"empty cells", ",\r\na,,\r\n", {{"", ""}, {"a", "", ""}}},
        {"empty lines", "\r\na\r\n\r\n\n", {{"a"}}},
        {"an empty cell alone, quoted", "a\r\n\"\"\r\n", {{"a"}}},
        {"CR within a cell", "a\rb,c\r\n", {{"a\rb", "c"}}},
        {"nothing", "", {}},
    };
    for (const Case& one : cases) {
        INFO(one.what);
        CHECK(cells_of(one.text) == one.cells);
    }
}

TEST_CASE("what is not comma-separated values says where") {
    for (const auto& [text, where] : std::vector<std::pair<std::string, std::string>>{
             {"a,b\r\nc\"d,e\r\n", "line 2: a quote within a cell"},
             {"a\r\n\"b\" c\r\n", "line 2: text after the closing quote"},
             {"a\r\n\r\n\"b\r\n", "line 3: a quoted cell that is never closed"},
             {std::string(kCsvCellsMax, ','), "line 1: more than"}}) {
        const auto rows = read_csv(text);
        REQUIRE(!rows);
        CHECK_THAT(rows.error().message, Catch::StartsWith(where));
    }
    CHECK(read_csv("a\r\n\"b\r\nb\"\r\nc").value()[2].line == 4);
}

TEST_CASE("rows that are written are read as they were") {
    const Cells rows{{"plain", "with, comma", "with \"quotes\"", "two\r\nlines", "", "\r"}, {"ü", "\n"}, {"x"}};
    std::string text;
    for (const auto& row : rows) text += csv_line(row);
    CHECK(cells_of(text) == rows);
    CHECK(csv_line({"a", "b c"}) == "a,b c\r\n");
}
