#pragma once
#include <cstddef>
#include <cstdint>
#include <string>

#include "shared/words.hpp"

namespace turnstone {

/// What is wrong with recording, the worst first.
enum class RecorderTrouble : unsigned char {
    none,
    fault,         ///< nothing can be written
    bytes_lost,    ///< inputs of this recording were dropped
    behind,        ///< inputs have waited for the disk for over a second
    log_grows,     ///< the write-ahead file cannot be folded back
    rows_left_out, ///< derived rows were dropped; closing the recording makes them again
};
consteval auto words_of(RecorderTrouble) {
    return words<RecorderTrouble::rows_left_out>("none", "fault", "bytes_lost", "behind", "log_grows", "rows_left_out");
}

/// What did not reach the file.
struct Drops {
    std::uint64_t inputs = 0;
    std::uint64_t bytes = 0; ///< of these inputs, and of a lost file
    std::uint64_t rows = 0;  ///< derived rows left out to keep inputs
    Drops& operator+=(const Drops& more) noexcept {
        inputs += more.inputs;
        bytes += more.bytes;
        rows += more.rows;
        return *this;
    }
    friend bool operator==(const Drops&, const Drops&) = default;
};

/// What the recorder reports of itself; polled by other threads.
struct RecorderStatus {
    bool recording = false;
    std::string recording_id; ///< file name without its ending
    bool lost = false;        ///< nothing more can go into its file: a new recording has to begin
    RecorderTrouble trouble = RecorderTrouble::none;
    std::string fault;  ///< empty: no trouble; else what is wrong and what to do, with figures
    Drops dropped;      ///< since the recorder's start
    Drops dropped_here; ///< of the recording under way
    std::size_t queue_bytes = 0;
    double behind_s = 0; ///< age of the oldest input that is not in the file
    std::uint64_t rows_written = 0;
    std::uint64_t commits = 0;
    double commit_ms_max = 0;
    std::uint64_t file_bytes = 0; ///< with the write-ahead file
    std::uint64_t log_bytes = 0;  ///< of the write-ahead file
    std::uint64_t disk_free_bytes = 0;
};

} // namespace turnstone
