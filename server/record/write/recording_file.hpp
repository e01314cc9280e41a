#pragma once
/// One recording being written: inputs and batches in, commits when told. No thread, no queue, no clock: the recorder's
/// thread, reprocessing and the benchmark drive it. Every function may throw SqliteError.
#include <cstdint>
#include <deque>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "server/pipeline/batch.hpp"
#include "server/pipeline/progress.hpp"
#include "server/pipeline/setup.hpp"
#include "server/record/format/fixed_tables.hpp"
#include "server/record/write/recorder_status.hpp"
#include "server/record/write/series_writer.hpp"

namespace turnstone {

/// The texts of a PipelineSetup that go into every file.
struct SetupTexts {
    std::vector<VehicleRow> vehicles;
    std::vector<VehicleFileRow> files; ///< in the order of vehicles and names
    SiteRow site;
    std::vector<LinkRow> links;
};
[[nodiscard]] SetupTexts texts_of(const PipelineSetup& setup);

struct RecordingHead {
    std::int64_t t_start_ns;
    std::int64_t utc_start_ns;
    std::string name;
    std::string continues; ///< id of the recording this one takes over from; usually empty
};

/// Makes the file, complete but for data. It appears under its name whole or not at all, even after a kill half-way.
/// Throws SqliteError when there is one of that name.
void create_recording(const std::filesystem::path& path, const SetupTexts& setup, const Schema& schema,
                      const RecordingHead& head, bool sync_every_commit);

/// Gives a hidden file that is whole its name. Throws SqliteError where there is one of that name: nobody's recording
/// is replaced.
void publish_recording(const std::filesystem::path& hidden, const std::filesystem::path& path);

class RecordingFile {
  public:
    /// Opens a recording of this version's layout to go on writing to it; after create_recording, or after a fault.
    RecordingFile(const std::filesystem::path& path, const Schema& schema, bool sync_every_commit);

    // Into the open transaction, which they open if there is none.
    void append(const Inputs& inputs);
    /// Rows of tables the schema does not have are left out and counted in the result. `progress`: of the pipeline
    /// after this batch.
    std::size_t append(const Batch& batch, const Progress& progress);
    void note_drops(const Drops& drops);
    void set_meta(const std::string& key, const std::string& value);
    void commit();
    /// Commits, marks the file closed and checkpoints it. The file is whole afterwards
    /// even where make_single_file is still to come.
    void close(const std::string& ended);
    /// False when the path no longer leads to this file: deleted, or its disk went away.
    [[nodiscard]] bool still_in_place() const;

    /// Inputs, frames, rows and events, with those of the open transaction. After a failed commit they show, in the
    /// reopened file, whether the transaction is in it.
    [[nodiscard]] std::uint64_t entries() const noexcept {
        return next_input_ + static_cast<std::uint64_t>(next_frame_id_) + rows_and_events_;
    }

    [[nodiscard]] const std::filesystem::path& path() const noexcept { return path_; }

    RecordingFile(const RecordingFile&) = delete; // statements and the hook point into it
    RecordingFile& operator=(const RecordingFile&) = delete;

  private:
    void begin();
    std::filesystem::path path_;
    Database database_;
    std::deque<SeriesWriter> series_; ///< by TableId
    RowInsert<ChunkRow> chunks_;
    RowInsert<ActionRecord> actions_;
    RowInsert<FrameRow> frames_;
    RowInsert<EventRow> events_;
    RowInsert<MetaRow> meta_;
    std::uint64_t next_input_ = 0;
    std::int64_t next_frame_id_ = 1;
    std::uint64_t rows_and_events_ = 0;
    std::optional<Progress> progress_; ///< of what was appended since the last commit
    std::int64_t t_end_ns_;
    std::uint64_t inode_ = 0, device_ = 0;
    int wal_pages_ = 0; ///< written by SQLite's hook at each commit
};

/// Leaves a closed recording as one file (DELETE journal). False while another connection has it open: try
/// again later.
bool make_single_file(const std::filesystem::path& path);

} // namespace turnstone
