#pragma once
/// A recording read with plain SQLite, the way anybody's script would: independent of the project's own reader.
#include <cstdint>
#include <filesystem>
#include <functional>
#include <stdexcept>
#include <string>

#include <sqlite3.h>

namespace turnstone::test {

class Database {
  public:
    explicit Database(const std::filesystem::path& path) {
        if (sqlite3_open_v2(path.c_str(), &handle_, SQLITE_OPEN_READWRITE, nullptr) != SQLITE_OK) {
            const std::string why = sqlite3_errmsg(handle_);
            sqlite3_close(handle_);
            throw std::runtime_error(path.string() + ": " + why);
        }
        sqlite3_busy_timeout(handle_, 5000);
    }
    ~Database() { sqlite3_close(handle_); }
    Database(const Database&) = delete;
    Database& operator=(const Database&) = delete;

    /// Calls `on_row(statement)` for each row.
    void query(const std::string& sql, const std::function<void(sqlite3_stmt*)>& on_row) {
        sqlite3_stmt* statement = nullptr;
        if (sqlite3_prepare_v2(handle_, sql.c_str(), -1, &statement, nullptr) != SQLITE_OK)
            throw std::runtime_error(sql + ": " + sqlite3_errmsg(handle_));
        int result = SQLITE_ROW;
        while ((result = sqlite3_step(statement)) == SQLITE_ROW) on_row(statement);
        sqlite3_finalize(statement);
        if (result != SQLITE_DONE) throw std::runtime_error(sql + ": " + sqlite3_errmsg(handle_));
    }
    std::int64_t integer(const std::string& sql) {
        std::int64_t value = 0;
        query(sql, [&](sqlite3_stmt* row) { value = sqlite3_column_int64(row, 0); });
        return value;
    }
    double real(const std::string& sql) {
        double value = 0;
        query(sql, [&](sqlite3_stmt* row) { value = sqlite3_column_double(row, 0); });
        return value;
    }
    std::string text(const std::string& sql) {
        std::string value;
        query(sql, [&](sqlite3_stmt* row) {
            const auto* characters = reinterpret_cast<const char*>(sqlite3_column_text(row, 0));
            value = characters != nullptr ? characters : "";
        });
        return value;
    }

  private:
    sqlite3* handle_ = nullptr;
};

} // namespace turnstone::test
