#pragma once
/// The only writer of recordings: its own thread, a bounded queue, paced commits. Whoever hands something over never
/// waits for it.
///
/// Inputs come first: they are committed within RecorderSettings::commit_interval_ms of their arrival, in transactions
/// of their own. What a pipeline made of them follows every kDerivedInterval together with the pipeline's progress, so
/// that after a kill exactly what is missing can be made again (server/record/derive.hpp).
///
/// Everything stays in memory until the commit that holds it has succeeded. After any failure (disk full, read-only,
/// I/O error) the recorder reopens the file and writes what is missing from it, until that works; meanwhile
/// status().fault says what is wrong. When a file is damaged, vanishes or belongs to somebody else, status().lost is
/// set, and what comes until the next begin() is dropped and counted.
#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <string>

#include "server/pipeline/batch.hpp"
#include "server/pipeline/inputs.hpp"
#include "server/pipeline/progress.hpp"
#include "server/pipeline/setup.hpp"
#include "server/record/write/receipt.hpp"
#include "server/record/write/recorder_status.hpp"
#include "server/record/write/recording_claim.hpp"
#include "server/record/write/recording_file.hpp"

namespace turnstone {

/// What an operator chooses has no value of its own here: server/setup/settings.hpp has it.
struct RecorderSettings {
    std::filesystem::path directory;
    /// About what a killed process can lose: inputs wait this long at most for their commit, plus the commit under way
    /// when they came and their own (1 to 10 ms each, more with a checkpoint).
    std::int64_t commit_interval_ms;
    /// true: every commit is synced to the disk, so that a pulled plug loses no more than a killed process
    /// (SQLite synchronous=FULL). false: synchronous=NORMAL; a power cut may lose everything since the last
    /// checkpoint.
    bool sync_every_commit;
    /// Data waiting for the disk. Above this, derived rows are left out, which can be made again, and inputs kept, up
    /// to a quarter more; beyond that inputs are dropped. Everything is counted.
    std::size_t queue_bytes_max = 64u << 20;
    /// Between attempts while something is wrong with the disk.
    std::int64_t retry_interval_ms = 500;
};

class Recorder {
  public:
    /// `on_closed`: called on the recorder's thread with each file it has closed or left behind; must return at once.
    Recorder(RecorderSettings settings, const PipelineSetup& setup,
             std::function<void(const std::filesystem::path&)> on_closed = {});
    /// Writes out what is queued and closes the recording. With a faulty disk it tries once more and gives up.
    ~Recorder();
    Recorder(const Recorder&) = delete;
    Recorder& operator=(const Recorder&) = delete;

    /// Begins a recording: inputs that follow go into it. The one before, if any, is closed once tape_ended() says that
    /// all its batches have come, or soon after; what is missing then is made again. Returns the new id at once; the
    /// file is made on the recorder's thread. A failure to create it shows in status().fault and is retried. `utc_ns`:
    /// for the id. `receipt`, here and below: given once the file is there, or it is known that it is not.
    std::string begin(const Schema& schema, RecordingHead head, std::int64_t utc_ns, OwedReceipt receipt = {});
    /// Goes on in a recording that a killed process left, with the same setup and schema.
    void resume(const Schema& schema, const std::string& id, std::shared_ptr<RecordingClaim> claim);
    // Neither blocks or throws. What does not fit the queue is counted, see RecorderSettings::queue_bytes_max.
    void push(std::shared_ptr<const Inputs> inputs, OwedReceipt receipt = {});
    /// `progress`: of the pipeline after this batch. `id`: the recording it is of; empty: the one begun last.
    void push(std::shared_ptr<const Batch> batch, const Progress& progress, const std::string& id = {});
    void tape_ended(const std::string& id);
    /// Counts bytes that were in a lost file and are not carried into the recording begun last.
    void count_lost(std::uint64_t bytes);
    /// Counts rows, at least so many, that were not made of what the live recording holds: closing it makes them.
    void count_rows_left_out(std::uint64_t rows);
    /// Changes "name" or "notes" of the live recording; for closed ones see the catalogue.
    void set_meta(const std::string& key, const std::string& value, OwedReceipt receipt = {});
    /// Returns after everything pushed so far is committed, or after `timeout_ms`.
    bool flush(std::int64_t timeout_ms);
    [[nodiscard]] RecorderStatus status() const;

  private:
    struct Parts;
    std::unique_ptr<Parts> parts_;
};

} // namespace turnstone
