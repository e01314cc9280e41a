#include "server/record/format/sqlite.hpp"

#include <limits>

namespace turnstone {

namespace {

/// A reader and the writer's checkpoint may collide for a moment; nothing holds a lock longer than a commit.
constexpr int kBusyTimeout_ms = 2000;

std::string uri_of(const std::filesystem::path& path, std::string_view parameters) {
    static constexpr char kHex[] = "0123456789ABCDEF";
    std::string uri = "file:";
    for (const char c : path.string()) {
        if (c == '?' || c == '#' || c == '%') {
            const auto octet = static_cast<unsigned char>(c);
            uri += '%';
            uri += kHex[octet >> 4];
            uri += kHex[octet & 15];
        } else {
            uri += c;
        }
    }
    uri += parameters;
    return uri;
}

} // namespace

Database::Database(const std::filesystem::path& path, Mode mode) {
    int flags = SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_EXRESCODE;
    switch (mode) {
    case Mode::read_only:
    case Mode::damaged: flags |= SQLITE_OPEN_READONLY; break;
    case Mode::read_write: flags |= SQLITE_OPEN_READWRITE; break;
    case Mode::create: flags |= SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE; break;
    }
    const bool damaged = mode == Mode::damaged;
    int code = open(path.c_str(), flags, nullptr, damaged);
    if ((mode == Mode::read_only || damaged) && (code & 0xff) == SQLITE_CANTOPEN) {
        // A write-ahead file needs a shared-memory file beside it, which a folder that cannot be written to does not
        // allow. Nobody else writes there either: without locks, and with the shared memory in this process alone, it
        // is read all the same. Without such a file there is nothing to read besides the database itself.
        std::error_code none;
        const auto log_bytes = std::filesystem::file_size(path.string() + "-wal", none);
        code = !none && log_bytes > 0
                   ? open(path.c_str(), flags, "unix-none", damaged)
                   : open(uri_of(path, "?immutable=1").c_str(), flags | SQLITE_OPEN_URI, nullptr, damaged);
    }
    if (code != SQLITE_OK) {
        const SqliteError error(code, path.string() + ": " +
                                          (handle_ == nullptr ? sqlite3_errstr(code) : sqlite3_errmsg(handle_)));
        sqlite3_close_v2(std::exchange(handle_, nullptr));
        throw error;
    }
}

/// The first read tells whether the file is a database at all.
int Database::open(const char* name, int flags, const char* file_system, bool damaged) {
    sqlite3_close_v2(std::exchange(handle_, nullptr));
    int code = sqlite3_open_v2(name, &handle_, flags, file_system);
    if (code != SQLITE_OK) return code;
    sqlite3_busy_timeout(handle_, kBusyTimeout_ms);
    const char* first_read = "SELECT count(*) FROM sqlite_schema";
    if (damaged) {
        // With this SQLite takes the size that a file has for the one that its header gives (lockBtree in btree.c) and,
        // from the second statement on, the tables that it could read of for all (sqlite3InitOne in prepare.c).
        sqlite3_db_config(handle_, SQLITE_DBCONFIG_WRITABLE_SCHEMA, 1, nullptr);
        first_read = "SELECT 1 FROM sqlite_schema LIMIT 1";
        static_cast<void>(sqlite3_exec(handle_, first_read, nullptr, nullptr, nullptr));
        code = sqlite3_exec(handle_, "PRAGMA cell_size_check = ON", nullptr, nullptr, nullptr);
    }
    if (code == SQLITE_OK && file_system != nullptr)
        code = sqlite3_exec(handle_, "PRAGMA locking_mode = EXCLUSIVE", nullptr, nullptr, nullptr);
    if (code == SQLITE_OK) code = sqlite3_exec(handle_, first_read, nullptr, nullptr, nullptr);
    return code;
}

void Database::raise(int code, std::string_view doing) const {
    throw SqliteError(code, std::string(doing) + ": " + sqlite3_errmsg(handle_));
}

void Database::execute(const char* sql) {
    const int code = sqlite3_exec(handle_, sql, nullptr, nullptr, nullptr);
    if (code != SQLITE_OK) raise(code, std::string_view(sql).substr(0, 60));
}

std::int64_t Database::integer(const std::string& sql, std::int64_t fallback) {
    Statement statement(*this, sql);
    return statement.step() && !statement.is_null(0) ? statement.integer(0) : fallback;
}

std::string Database::text(const std::string& sql) {
    Statement statement(*this, sql);
    return statement.step() ? statement.text(0) : std::string();
}

Statement::Statement(Database& database, const std::string& sql) : database_(&database) {
    const int code = sqlite3_prepare_v3(database.handle(), sql.c_str(), static_cast<int>(sql.size() + 1),
                                        SQLITE_PREPARE_PERSISTENT, &handle_, nullptr);
    if (code != SQLITE_OK) database.raise(code, sql.substr(0, 60));
}

bool Statement::step() {
    const int code = sqlite3_step(handle_);
    if (code == SQLITE_ROW) return true;
    if (code != SQLITE_DONE) {
        const SqliteError error(sqlite3_extended_errcode(database_->handle()),
                                std::string(sqlite3_sql(handle_)).substr(0, 60) + ": " +
                                    sqlite3_errmsg(database_->handle()));
        sqlite3_reset(handle_);
        throw error;
    }
    return false;
}

void Statement::run() {
    step();
    sqlite3_reset(handle_);
}

double Statement::number(int column) const {
    return is_null(column) ? std::numeric_limits<double>::quiet_NaN() : sqlite3_column_double(handle_, column);
}

std::string Statement::text(int column) const {
    const auto* characters = reinterpret_cast<const char*>(sqlite3_column_text(handle_, column));
    return characters == nullptr
               ? std::string()
               : std::string(characters, static_cast<std::size_t>(sqlite3_column_bytes(handle_, column)));
}

std::span<const std::byte> Statement::blob(int column) const {
    const auto* bytes = static_cast<const std::byte*>(sqlite3_column_blob(handle_, column));
    return {bytes, static_cast<std::size_t>(sqlite3_column_bytes(handle_, column))};
}

std::string identifier(std::string_view name) {
    std::string out = "\"";
    for (const char c : name) {
        if (c == '"') out += '"';
        out += c;
    }
    return out + '"';
}

} // namespace turnstone
