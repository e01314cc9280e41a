#include "server/record/write/recording_file.hpp"

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <iterator>
#include <optional>

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include "server/record/format/database_files.hpp"

namespace turnstone {

namespace {

/// A commit changes the last page of many tables: small ones write less. What other sizes cost: DEVELOPERS.md.
constexpr int kPageBytes = 1024;
/// The write-ahead file is folded back at this size: a checkpoint of some 10 ms. A smaller one writes the last pages of
/// tables into the database more often.
constexpr int kCheckpointPages = (8 << 20) / kPageBytes;

void sync_directory(const std::filesystem::path& directory) {
    // Best effort: some file systems refuse to sync a directory, and only the file's name is at risk.
    const int descriptor = ::open(directory.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (descriptor >= 0) {
        static_cast<void>(::fsync(descriptor));
        ::close(descriptor);
    }
}

std::int64_t newest_time(const Inputs& inputs, std::int64_t newest_ns) {
    for (const ChunkRecord& chunk : inputs.chunks) newest_ns = std::max(newest_ns, chunk.t_rx_ns);
    for (const ActionRecord& action : inputs.actions) newest_ns = std::max(newest_ns, action.t_ns);
    return newest_ns;
}

std::int64_t newest_time(const Batch& batch, std::int64_t newest_ns) {
    for (const RowRecord& row : batch.rows) newest_ns = std::max(newest_ns, row.t_rx_ns);
    for (const Event& event : batch.events) newest_ns = std::max(newest_ns, event.t_found_ns);
    return newest_ns;
}

} // namespace

void publish_recording(const std::filesystem::path& hidden, const std::filesystem::path& path) {
    const bool renamed = ::renameat2(AT_FDCWD, hidden.c_str(), AT_FDCWD, path.c_str(), RENAME_NOREPLACE) == 0;
    const int error = renamed ? 0 : errno;
    if (error == EEXIST) throw SqliteError(SQLITE_NOTADB, path.string() + " is another server's recording");
    if (error != 0 && error != EINVAL && error != ENOSYS)
        throw SqliteError(SQLITE_CANTOPEN, path.string() + ": " + std::strerror(error));
    if (error != 0)
        std::filesystem::rename(hidden, path); // a file system without it; the claim keeps other servers of ours away
    sync_directory(path.parent_path());
}

SetupTexts texts_of(const PipelineSetup& setup) {
    SetupTexts texts;
    for (const VehicleSetup& vehicle : setup.vehicles) {
        for (const FolderFile& file : vehicle.files)
            texts.files.push_back({.vehicle = std::ssize(texts.vehicles), .name = file.name, .text = file.text});
        texts.vehicles.push_back({.id = std::ssize(texts.vehicles),
                                  .name = vehicle.dictionary.vehicle,
                                  .dictionary_json = vehicle.dictionary_json,
                                  .vehicle_json = vehicle.vehicle_json});
    }
    texts.site.site_json = setup.site_json;
    for (const LinkSetup& link : setup.links)
        texts.links.push_back({.id = std::ssize(texts.links),
                               .name = link.name,
                               .uri = link.uri,
                               .vehicle = static_cast<std::int64_t>(link.vehicle)});
    return texts;
}

void create_recording(const std::filesystem::path& path, const SetupTexts& setup, const Schema& schema,
                      const RecordingHead& head, bool sync_every_commit) {
    // Made under a hidden name and renamed when whole.
    const std::filesystem::path hidden = path.parent_path() / ("." + path.filename().string() + ".new");
    remove_database(hidden); // of a process that was killed
    {
        Database database(hidden, Database::Mode::create);
        database.execute(sync_every_commit ? "PRAGMA synchronous = FULL" : "PRAGMA synchronous = NORMAL");
        database.execute("PRAGMA page_size = " + std::to_string(kPageBytes));
        database.execute("BEGIN");
        database.execute(kSchemaSql);
        write_words(database);
        RowInsert<MetaRow> meta(database, kMetaTable);
        meta.write({"version", TURNSTONE_VERSION});
        meta.write({"name", head.name});
        meta.write({"notes", ""});
        meta.write({"t_start_ns", std::to_string(head.t_start_ns)});
        meta.write({"utc_start_ns", std::to_string(head.utc_start_ns)});
        if (!head.continues.empty()) meta.write({"continues", head.continues});
        RowInsert<VehicleRow> vehicles(database, kVehicleTable);
        for (const VehicleRow& vehicle : setup.vehicles) vehicles.write(vehicle);
        RowInsert<VehicleFileRow> files(database, kVehicleFileTable);
        for (const VehicleFileRow& file : setup.files) files.write(file);
        RowInsert<SiteRow>(database, kSiteTable).write(setup.site);
        RowInsert<LinkRow> links(database, kLinkTable);
        for (const LinkRow& link : setup.links) links.write(link);
        describe_tables(database, name_tables(schema));
        database.execute("COMMIT");
        database.execute("PRAGMA journal_mode = WAL");
    }
    publish_recording(hidden, path);
}

RecordingFile::RecordingFile(const std::filesystem::path& path, const Schema& schema, bool sync_every_commit)
    : path_(path), database_(path, Database::Mode::read_write) {
    struct stat status {};
    if (::stat(path.c_str(), &status) == 0) {
        inode_ = status.st_ino;
        device_ = status.st_dev;
    }
    database_.execute("PRAGMA journal_mode = WAL");
    database_.execute(sync_every_commit ? "PRAGMA synchronous = FULL" : "PRAGMA synchronous = NORMAL");
    // In place of SQLite's own checkpointing: commit() decides, after the data are safe.
    sqlite3_wal_hook(
        database_.handle(),
        [](void* pages, sqlite3*, const char*, int count) {
            *static_cast<int*>(pages) = count;
            return SQLITE_OK;
        },
        &wal_pages_);
    if (database_.integer("PRAGMA user_version") != kLayoutVersion)
        throw SqliteError(SQLITE_NOTADB, path.string() + ": another version's layout; it cannot be continued");
    std::vector<StoredTable> tables = name_tables(schema);
    const std::int64_t base_ns = time_base_ns(database_);
    for (StoredTable& table : tables) {
        table.base_ns = base_ns;
        series_.emplace_back(database_, table);
    }
    chunks_ = {database_, kChunkTable};
    actions_ = {database_, kActionTable};
    frames_ = {database_, kFrameTable};
    events_ = {database_, kEventTable};
    meta_ = {database_, kMetaTable};
    for (const char* inputs : {"chunk", "action"})
        next_input_ = std::max(
            next_input_,
            static_cast<std::uint64_t>(database_.integer(std::string("SELECT max(input) FROM ") + inputs, -1) + 1));
    next_frame_id_ = database_.integer("SELECT max(id) FROM frame") + 1;
    rows_and_events_ = static_cast<std::uint64_t>(database_.integer("SELECT max(id) FROM event"));
    for (const SeriesWriter& series : series_) rows_and_events_ += static_cast<std::uint64_t>(series.rows());
    t_end_ns_ = newest_stored_time(database_, tables);
}

void RecordingFile::begin() {
    if (!database_.in_transaction()) database_.execute("BEGIN IMMEDIATE");
}

void RecordingFile::append(const Inputs& inputs) {
    begin();
    for (const ChunkRecord& chunk : inputs.chunks) {
        chunks_.write({chunk, inputs.bytes_of(chunk)});
        next_input_ = std::max(next_input_, chunk.input + 1);
    }
    for (const ActionRecord& action : inputs.actions) {
        actions_.write(action);
        next_input_ = std::max(next_input_, action.input + 1);
    }
    t_end_ns_ = newest_time(inputs, t_end_ns_);
}

std::size_t RecordingFile::append(const Batch& batch, const Progress& progress) {
    begin();
    const std::int64_t frame_id_base = next_frame_id_;
    for (const FrameRecord& frame : batch.frames) frames_.write({next_frame_id_++, frame});
    std::size_t rows_left_out = 0;
    for (const RowRecord& row : batch.rows) {
        if (row.table >= series_.size()) {
            ++rows_left_out;
            continue;
        }
        SeriesWriter& series = series_[row.table];
        std::optional<RowFrame> frame;
        if (row.frame >= 0) {
            frame = {.id = frame_id_base + row.frame,
                     .t_rx_ns = batch.frames.at(static_cast<std::size_t>(row.frame)).t_rx_ns};
        }
        series.add(row.t_ns, row.t_rx_ns, frame, batch.numbers_of(row, series.table().table),
                   batch.texts_of(row, series.table().table));
        ++rows_and_events_;
    }
    for (const Event& event : batch.events) {
        events_.write({0, event});
        ++rows_and_events_;
    }
    t_end_ns_ = newest_time(batch, t_end_ns_);
    progress_ = progress;
    return rows_left_out;
}

void RecordingFile::note_drops(const Drops& drops) {
    set_meta("inputs_dropped", std::to_string(drops.inputs));
    set_meta("bytes_dropped", std::to_string(drops.bytes));
    set_meta("rows_dropped", std::to_string(drops.rows));
}

void RecordingFile::set_meta(const std::string& key, const std::string& value) {
    begin();
    meta_.write({key, value});
}

void RecordingFile::commit() {
    if (!database_.in_transaction()) return;
    if (progress_) {
        for (SeriesWriter& series : series_) series.finish_transaction();
        set_meta("derived_inputs", std::to_string(progress_->inputs));
        set_meta("derived_t_ns", std::to_string(progress_->t_ns));
        progress_.reset();
    }
    database_.execute("COMMIT");
    if (wal_pages_ >= kCheckpointPages) {
        // Passive: waits for no reader. What a reader still needs is folded back at a later commit. A failure here
        // loses nothing, since the data are in the write-ahead file; if it lasts, the next commit fails.
        sqlite3_wal_checkpoint_v2(database_.handle(), nullptr, SQLITE_CHECKPOINT_PASSIVE, nullptr, nullptr);
    }
}

void RecordingFile::close(const std::string& ended) {
    commit();
    begin();
    set_meta("t_end_ns", std::to_string(t_end_ns_));
    set_meta("ended", ended);
    database_.execute("COMMIT");
    // Readers may hold the last pages for a moment; make_single_file comes back to it.
    sqlite3_wal_checkpoint_v2(database_.handle(), nullptr, SQLITE_CHECKPOINT_PASSIVE, nullptr, nullptr);
}

bool RecordingFile::still_in_place() const {
    struct stat status {};
    return ::stat(path_.c_str(), &status) == 0 && status.st_ino == inode_ && status.st_dev == device_;
}

bool make_single_file(const std::filesystem::path& path) {
    Database database(path, Database::Mode::read_write);
    // Leaving WAL needs sole use of the file; waiting for that would hold up the caller.
    sqlite3_busy_timeout(database.handle(), 0);
    const int code = sqlite3_exec(database.handle(), "PRAGMA journal_mode = DELETE", nullptr, nullptr, nullptr);
    if (code != SQLITE_OK && (code & 0xff) != SQLITE_BUSY && (code & 0xff) != SQLITE_LOCKED)
        database.raise(code, "closing " + path.string());
    return database.text("PRAGMA journal_mode") == "delete";
}

} // namespace turnstone
