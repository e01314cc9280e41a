#pragma once
/// The only writer of recordings: its own thread, a bounded queue, paced commits. Ingest never waits for it.
///
/// A batch stays in memory until the commit that holds it has succeeded. After any failure (disk full, read-only, I/O
/// error) the recorder reopens the file and writes what is missing from it, until that works; meanwhile status().fault
/// says what is wrong. A file that is damaged or vanishes is left behind, and a new one continues it. At start,
/// recordings that a killed process left in the directory are repaired; see repair.hpp.
#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <string>

#include "server/pipeline/batch.hpp"
#include "server/pipeline/setup.hpp"

namespace turnstone {

/// What an operator chooses has no value of its own here: server/setup/settings.hpp has it.
struct RecorderSettings {
    std::filesystem::path directory;
    /// About what a killed process can lose: data wait this long at most for their commit, plus the commit under way
    /// when they came and their own (1 to 10 ms each, more with a checkpoint). Halving it doubles the writing to the
    /// disk; see schema.sql for measured costs.
    std::int64_t commit_interval_ms;
    /// true: every commit is synced to the disk, so that a pulled plug loses no more than a killed process
    /// (SQLite synchronous=FULL). false: synchronous=NORMAL; a power cut may lose everything since the last
    /// checkpoint.
    bool sync_every_commit;
    /// Data waiting for the disk. Above this, rows are left out and raw bytes kept (they can be decoded again), up to a
    /// quarter more; beyond that whole batches are dropped. Everything is counted.
    std::size_t queue_bytes_max = 64u << 20;
    /// Between attempts while something is wrong with the disk.
    std::int64_t retry_interval_ms = 500;
};

/// What the recorder reports of itself; polled by the serve thread.
struct RecorderStatus {
    bool recording = false;
    std::string recording_id;          ///< file name without its ending
    std::string fault;                 ///< empty: none; else what is wrong and what to do, e.g. disk full
    std::uint64_t batches_dropped = 0; ///< bytes of these batches are not in the file
    std::uint64_t bytes_dropped = 0;
    std::uint64_t rows_dropped = 0; ///< derived rows left out to keep raw bytes; reprocessing makes them again
    std::size_t queue_bytes = 0;
    std::uint64_t rows_written = 0;
    std::uint64_t commits = 0;
    double commit_ms_max = 0;
    std::uint64_t file_bytes = 0; ///< with the write-ahead file
    std::uint64_t disk_free_bytes = 0;
};

class Recorder {
  public:
    Recorder(RecorderSettings settings, const PipelineSetup& setup);
    /// Writes out what is queued, checkpoints, leaves one file. With a faulty disk it tries once more and gives up.
    ~Recorder();
    Recorder(const Recorder&) = delete;
    Recorder& operator=(const Recorder&) = delete;

    /// Begins a recording (closing the one before, if any, after everything pushed so far). Returns its id at
    /// once; the file is made on the recorder's thread. `name` may be empty. A failure to create it shows in
    /// status().fault and is retried.
    std::string begin(const Schema& schema, std::int64_t t_start_ns, std::int64_t utc_start_ns,
                      const std::string& name);
    /// Never blocks, never throws. What does not fit the queue is counted, see
    /// RecorderSettings::queue_bytes_max.
    void push(std::shared_ptr<const Batch> batch);
    /// Changes "name" or "notes" of the live recording; for closed ones see the catalogue.
    void set_meta(const std::string& key, const std::string& value);
    /// Returns after everything pushed so far is committed, or after `timeout_ms`.
    bool flush(std::int64_t timeout_ms);
    [[nodiscard]] RecorderStatus status() const;

  private:
    struct Parts;
    std::unique_ptr<Parts> parts_;
};

} // namespace turnstone
