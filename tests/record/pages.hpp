#pragma once
/// Pages of a recording's file, as a fault of the disk changes them. Numbers from 1, as SQLite gives them.
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <map>
#include <string>

#include <catch2/catch.hpp>

#include "server/record/format/sqlite.hpp"

namespace turnstone::record_test {

/// Rows on each leaf page of a table, by SQLite's own account (dbstat).
inline std::map<std::int64_t, std::size_t> rows_on_pages(const std::filesystem::path& path, const std::string& table) {
    Database database(path, Database::Mode::read_only);
    std::map<std::int64_t, std::size_t> pages;
    Statement leaves(database, "SELECT pageno, ncell FROM dbstat WHERE name = '" + table + "' AND pagetype = 'leaf'");
    while (leaves.step()) pages[leaves.integer(0)] = static_cast<std::size_t>(leaves.integer(1));
    REQUIRE(pages.size() > 5);
    return pages;
}

inline std::uintmax_t page_bytes(const std::filesystem::path& path) {
    return static_cast<std::uintmax_t>(Database(path, Database::Mode::read_only).integer("PRAGMA page_size"));
}

/// As after a write that never reached the disk, or went to the wrong place of it. `from`: 0: zeros.
inline void copy_page(const std::filesystem::path& path, std::int64_t from, std::int64_t to, std::uintmax_t size) {
    const auto place = [&](std::int64_t number) {
        return static_cast<std::streamoff>(static_cast<std::uintmax_t>(number - 1) * size);
    };
    std::fstream file(path, std::ios::in | std::ios::out | std::ios::binary);
    std::string page(size, '\0');
    if (from > 0) {
        file.seekg(place(from));
        file.read(page.data(), static_cast<std::streamsize>(size));
    }
    file.seekp(place(to));
    file.write(page.data(), static_cast<std::streamsize>(size));
    REQUIRE(file.good());
}

} // namespace turnstone::record_test
