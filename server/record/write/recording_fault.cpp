#include "server/record/write/recording_fault.hpp"

namespace turnstone {

std::string advice(const SqliteError& error, const std::filesystem::path& directory) {
    const std::string where = " in " + directory.string();
    switch (error.code()) {
    case SQLITE_FULL:
        return "disk full" + where + ": delete or move something there; recording then continues by itself";
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_CANTOPEN:
    case SQLITE_AUTH:
        return "cannot write" + where +
               ": check that the directory exists and can be written to; recording then continues by itself (" +
               error.what() + ")";
    case SQLITE_IOERR:
        return "disk error" + where + ": check the disk and its cable, or start again on another disk (" +
               error.what() + ")";
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return "another program has locked the recording" + where +
               ": close that program; recording then continues by itself";
    default: return "recording fails" + where + ": " + error.what();
    }
}

bool is_about_content(const SqliteError& error) {
    switch (error.code()) {
    case SQLITE_CONSTRAINT:
    case SQLITE_TOOBIG:
    case SQLITE_MISMATCH:
    case SQLITE_RANGE: return true;
    default: return false;
    }
}

bool is_about_file(const SqliteError& error) {
    return error.code() == SQLITE_CORRUPT || error.code() == SQLITE_NOTADB;
}

} // namespace turnstone
