#include "server/record/write/recording_fault.hpp"

#include <fmt/format.h>

namespace turnstone {

namespace {

constexpr double kBehind_s = 1.0;
constexpr std::uint64_t kLogBytesMax = 100u << 20;

double megabytes(std::uint64_t bytes) {
    return static_cast<double>(bytes) * 1e-6;
}

} // namespace

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

void find_trouble(RecorderStatus& status) {
    if (!status.fault.empty()) {
        status.trouble = RecorderTrouble::fault;
    } else if (status.lost) {
        status.trouble = RecorderTrouble::fault;
        status.fault = "the recording's file was removed or damaged: a new recording begins";
    } else if (status.dropped_here.inputs > 0 || status.dropped_here.bytes > 0) {
        status.trouble = RecorderTrouble::bytes_lost;
        status.fault = fmt::format(
            "{} received bytes are not in this recording: its file was lost, or the disk was full or too slow for too "
            "long; use another disk, and begin a new recording",
            status.dropped_here.bytes);
    } else if (status.behind_s > kBehind_s) {
        status.trouble = RecorderTrouble::behind;
        status.fault = fmt::format("the disk is too slow: recording is {:.0f} s behind and {:.1f} MB wait in memory; "
                                   "close other programs that use this disk, or use a faster one",
                                   status.behind_s, megabytes(status.queue_bytes));
    } else if (status.log_bytes > kLogBytesMax) {
        status.trouble = RecorderTrouble::log_grows;
        status.fault = fmt::format("another program keeps the live recording open, and its write-ahead file has grown "
                                   "to {:.0f} MB; close that program",
                                   megabytes(status.log_bytes));
    } else if (status.dropped_here.rows > 0) {
        status.trouble = RecorderTrouble::rows_left_out;
        status.fault = fmt::format("the disk was too slow for {} rows of decoded data; every byte is recorded, and the "
                                   "rows are made again when this recording is closed",
                                   status.dropped_here.rows);
    }
}

} // namespace turnstone
