#pragma once
/// RAII over the SQLite C interface, private to server/record. A failed call throws SqliteError; it is caught
/// at the named boundaries only: the recorder's loop, each public function of the reader, the catalogue and
/// reprocessing.
#include <cstdint>
#include <filesystem>
#include <span>
#include <stdexcept>
#include <string>
#include <string_view>
#include <utility>

#include <sqlite3.h>

namespace turnstone {

class SqliteError : public std::runtime_error {
  public:
    SqliteError(int extended_code, const std::string& what) : std::runtime_error(what), extended_code_(extended_code) {}
    /// Primary result code: SQLITE_FULL, SQLITE_IOERR, ...
    [[nodiscard]] int code() const noexcept { return extended_code_ & 0xff; }

  private:
    int extended_code_;
};

/// One connection, used by one thread at a time (SQLITE_OPEN_NOMUTEX).
class Database {
  public:
    /// `damaged`: read only, and a file that is shorter than it says is read as far as it goes.
    enum class Mode { read_only, damaged, read_write, create };
    Database(const std::filesystem::path& path, Mode mode);
    Database(Database&& other) noexcept : handle_(std::exchange(other.handle_, nullptr)) {}
    Database& operator=(Database&& other) noexcept {
        std::swap(handle_, other.handle_);
        return *this;
    }
    ~Database() { sqlite3_close_v2(handle_); }

    void execute(const char* sql);
    void execute(const std::string& sql) { execute(sql.c_str()); }
    /// First column of the first row; `fallback` when there is none or it is NULL.
    [[nodiscard]] std::int64_t integer(const std::string& sql, std::int64_t fallback = 0);
    [[nodiscard]] std::string text(const std::string& sql);
    [[nodiscard]] bool in_transaction() const noexcept { return sqlite3_get_autocommit(handle_) == 0; }
    [[nodiscard]] sqlite3* handle() const noexcept { return handle_; }
    [[noreturn]] void raise(int code, std::string_view doing) const;

  private:
    [[nodiscard]] int open(const char* name, int flags, const char* file_system, bool damaged);
    sqlite3* handle_ = nullptr;
};

/// A prepared statement. Bound texts and blobs are not copied, except by bind_copy: they must live until
/// the step.
class Statement {
  public:
    Statement() = default;
    Statement(Database& database, const std::string& sql);
    Statement(Statement&& other) noexcept
        : database_(other.database_), handle_(std::exchange(other.handle_, nullptr)) {}
    Statement& operator=(Statement&& other) noexcept {
        std::swap(database_, other.database_);
        std::swap(handle_, other.handle_);
        return *this;
    }
    ~Statement() { sqlite3_finalize(handle_); }

    void bind(int place, std::int64_t value) { check(sqlite3_bind_int64(handle_, place, value)); }
    /// NaN becomes NULL.
    void bind(int place, double value) { check(sqlite3_bind_double(handle_, place, value)); }
    void bind(int place, std::string_view value) {
        check(sqlite3_bind_text64(handle_, place, value.data() == nullptr ? "" : value.data(), value.size(),
                                  SQLITE_STATIC, SQLITE_UTF8));
    }
    void bind(int place, std::string&& value) = delete; ///< would be gone before the step
    void bind_copy(int place, std::string_view value) {
        check(sqlite3_bind_text64(handle_, place, value.data(), value.size(), SQLITE_TRANSIENT, SQLITE_UTF8));
    }
    void bind(int place, std::span<const std::byte> value) {
        if (value.empty())
            check(sqlite3_bind_zeroblob(handle_, place, 0));
        else
            check(sqlite3_bind_blob64(handle_, place, value.data(), value.size(), SQLITE_STATIC));
    }
    void bind_null(int place) { check(sqlite3_bind_null(handle_, place)); }

    /// True while there is a row.
    bool step();
    /// Steps a statement that gives no row, and makes it ready for the next.
    void run();
    void reset() noexcept { sqlite3_reset(handle_); }

    [[nodiscard]] std::int64_t integer(int column) const { return sqlite3_column_int64(handle_, column); }
    /// NULL becomes NaN.
    [[nodiscard]] double number(int column) const;
    [[nodiscard]] bool is_null(int column) const { return sqlite3_column_type(handle_, column) == SQLITE_NULL; }
    [[nodiscard]] bool is_integer(int column) const { return sqlite3_column_type(handle_, column) == SQLITE_INTEGER; }
    [[nodiscard]] std::string text(int column) const;
    /// Valid until the next step or reset.
    [[nodiscard]] std::span<const std::byte> blob(int column) const;

  private:
    void check(int code) {
        if (code != SQLITE_OK) database_->raise(code, "bind");
    }
    Database* database_ = nullptr;
    sqlite3_stmt* handle_ = nullptr;
};

/// A read transaction: every read inside sees the same state of the file, whatever is written meanwhile.
class ReadTransaction {
  public:
    explicit ReadTransaction(Database& database) : database_(database), own_(!database.in_transaction()) {
        if (own_) database_.execute("BEGIN");
    }
    ~ReadTransaction() {
        if (own_) sqlite3_exec(database_.handle(), "ROLLBACK", nullptr, nullptr, nullptr);
    }
    ReadTransaction(const ReadTransaction&) = delete;
    ReadTransaction& operator=(const ReadTransaction&) = delete;

  private:
    Database& database_;
    bool own_;
};

/// `name` as an SQL identifier.
[[nodiscard]] std::string identifier(std::string_view name);

} // namespace turnstone
