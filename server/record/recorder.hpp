#pragma once
/// The only writer of recordings: its own thread, a bounded queue, paced commits. Ingest never waits for it.
#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <string>

#include "server/pipeline/batch.hpp"
#include "server/pipeline/pipeline.hpp"

namespace turnstone {

struct RecorderSettings {
    std::filesystem::path directory;
    /// What a killed process can lose: data wait at most this long for their commit (plus the commit itself).
    std::int64_t commit_interval_ms = 100;
    /// true: every commit is synced to the disk, so that a pulled plug loses no more than a killed process (SQLite
    /// synchronous=FULL). false: synchronous=NORMAL; a power cut may lose everything since the last checkpoint.
    bool sync_every_commit = true;
    std::size_t queue_bytes_max = 64u << 20;
};

/// What the recorder says about itself; polled by the serve thread, shown and counted.
struct RecorderStatus {
    bool recording = false;
    std::string recording_id;      ///< file name without its ending
    std::string fault;             ///< empty: none; else what is wrong and what to do, e.g. disk full
    std::uint64_t batches_dropped = 0; ///< queue full: the one way a byte can miss the file
    std::uint64_t bytes_dropped = 0;
    std::size_t queue_bytes = 0;
    std::uint64_t rows_written = 0;
    std::uint64_t commits = 0;
    double commit_ms_max = 0;
    std::uint64_t file_bytes = 0;
    std::uint64_t disk_free_bytes = 0;
};

class Recorder {
  public:
    Recorder(RecorderSettings settings, const PipelineSetup& setup);
    /// Writes out what is queued, checkpoints, leaves one file.
    ~Recorder();
    Recorder(const Recorder&) = delete;
    Recorder& operator=(const Recorder&) = delete;

    /// Begins a recording (closing the one before, if any, after everything pushed so far). Returns its id at once; the file is made on
    /// the recorder's thread. `name` may be empty. A failure to create it shows in status().fault and is retried.
    std::string begin(const Schema& schema, std::int64_t t_start_ns, std::int64_t utc_start_ns, const std::string& name);
    /// Never blocks, never throws. A batch that does not fit the queue is counted in batches_dropped.
    void push(std::shared_ptr<const Batch> batch);
    /// Changes name or notes in the file's own meta table (works for live and, through the catalogue, closed files).
    void set_meta(const std::string& key, const std::string& value);
    /// Returns after everything pushed so far is committed, or after `timeout_ms`.
    bool flush(std::int64_t timeout_ms);
    [[nodiscard]] RecorderStatus status() const;

  private:
    struct State;
    std::unique_ptr<State> state_;
};

} // namespace turnstone
