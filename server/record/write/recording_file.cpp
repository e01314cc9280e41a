#include "server/record/write/recording_file.hpp"

#include <algorithm>
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include "server/pipeline/events.hpp"

namespace turnstone {

namespace {

/// The write-ahead file is folded back at this size: 4 MB at 4 KiB a page, a checkpoint of some 10 ms.
constexpr int kCheckpointPages = 1000;

void sync_directory(const std::filesystem::path& directory) {
    // Best effort: some file systems refuse to sync a directory, and only the file's name is at risk.
    const int descriptor = ::open(directory.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (descriptor >= 0) {
        static_cast<void>(::fsync(descriptor));
        ::close(descriptor);
    }
}

std::int64_t newest_time(const Batch& batch, std::int64_t newest_ns) {
    for (const ChunkRecord& chunk : batch.chunks) newest_ns = std::max(newest_ns, chunk.t_rx_ns);
    for (const ActionRecord& action : batch.actions) newest_ns = std::max(newest_ns, action.t_ns);
    for (const RowRecord& row : batch.rows) newest_ns = std::max(newest_ns, row.t_rx_ns);
    for (const Event& event : batch.events) newest_ns = std::max(newest_ns, event.t_found_ns);
    return newest_ns;
}

} // namespace

SetupTexts texts_of(const PipelineSetup& setup) {
    SetupTexts texts;
    for (const VehicleSetup& vehicle : setup.vehicles)
        texts.vehicles.push_back({vehicle.dictionary.vehicle, vehicle.dictionary_json, vehicle.vehicle_json});
    texts.site_json = setup.site_json;
    for (const LinkSetup& link : setup.links) texts.links.push_back({link.name, link.uri, link.vehicle});
    return texts;
}

void create_recording(const std::filesystem::path& path, const SetupTexts& setup, const Schema& schema,
                      const RecordingHead& head, bool sync_every_commit) {
    // Made under a hidden name and renamed when whole.
    const std::filesystem::path hidden = path.parent_path() / ("." + path.filename().string() + ".new");
    std::filesystem::remove(hidden);
    {
        Database database(hidden, Database::Mode::create);
        database.execute(sync_every_commit ? "PRAGMA synchronous = FULL" : "PRAGMA synchronous = NORMAL");
        database.execute("BEGIN");
        database.execute(kSchemaSql);
        write_words(database);
        Statement meta(database, "INSERT INTO meta VALUES (?, ?)");
        const auto put = [&meta](std::string_view key, std::string_view value) {
            meta.bind(1, key);
            meta.bind(2, value);
            meta.run();
        };
        put("version", TURNSTONE_VERSION);
        put("name", head.name);
        put("notes", "");
        put("t_start_ns", std::to_string(head.t_start_ns));
        put("utc_start_ns", std::to_string(head.utc_start_ns));
        if (!head.continues.empty()) put("continues", head.continues);
        Statement vehicle(database, "INSERT INTO vehicle VALUES (?, ?, ?, ?)");
        for (std::size_t i = 0; i < setup.vehicles.size(); ++i) {
            vehicle.bind(1, static_cast<std::int64_t>(i));
            vehicle.bind(2, setup.vehicles[i].name);
            vehicle.bind(3, setup.vehicles[i].dictionary_json);
            vehicle.bind(4, setup.vehicles[i].vehicle_json);
            vehicle.run();
        }
        Statement site(database, "INSERT INTO site VALUES (?)");
        site.bind(1, setup.site_json);
        site.run();
        Statement link(database, "INSERT INTO link VALUES (?, ?, ?, ?)");
        for (std::size_t i = 0; i < setup.links.size(); ++i) {
            link.bind(1, static_cast<std::int64_t>(i));
            link.bind(2, setup.links[i].name);
            link.bind(3, setup.links[i].uri);
            link.bind(4, static_cast<std::int64_t>(setup.links[i].vehicle));
            link.run();
        }
        create_tables(database, name_tables(schema));
        database.execute("COMMIT");
        database.execute("PRAGMA journal_mode = WAL");
    }
    std::filesystem::rename(hidden, path);
    sync_directory(path.parent_path());
}

RecordingFile::RecordingFile(const std::filesystem::path& path, const Schema& schema, bool sync_every_commit)
    : path_(path), database_(path, Database::Mode::read_write), tables_(name_tables(schema)) {
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
    for (const StoredTable& table : tables_) {
        insert_row_.emplace_back(database_, table.insert_sql());
        rollups_.emplace_back(database_, table);
    }
    insert_chunk_ = Statement(database_, "INSERT INTO chunk VALUES (?, ?, ?, ?, ?, ?, ?)");
    insert_action_ = Statement(database_, "INSERT INTO action VALUES (?, ?, ?)");
    insert_frame_ = Statement(database_, "INSERT INTO frame VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)");
    insert_event_ = Statement(database_, "INSERT INTO event VALUES (NULL, ?, ?, ?, ?, ?, ?, ?, ?, ?)");
    replace_meta_ = Statement(database_, "INSERT OR REPLACE INTO meta VALUES (?, ?)");
    for (const char* inputs : {"chunk", "action"})
        next_input_ = std::max(
            next_input_,
            static_cast<std::uint64_t>(database_.integer(std::string("SELECT max(input) FROM ") + inputs, -1) + 1));
    next_frame_id_ = database_.integer("SELECT max(id) FROM frame") + 1;
    rows_and_events_ = static_cast<std::uint64_t>(database_.integer("SELECT max(id) FROM event"));
    for (const StoredTable& table : tables_)
        rows_and_events_ +=
            static_cast<std::uint64_t>(database_.integer("SELECT max(id) FROM " + identifier(table.sql_name)));
    t_end_ns_ = newest_stored_time(database_, tables_);
}

void RecordingFile::begin() {
    if (!database_.in_transaction()) database_.execute("BEGIN IMMEDIATE");
}

std::size_t RecordingFile::append(const Batch& batch) {
    begin();
    for (const ChunkRecord& chunk : batch.chunks) {
        insert_chunk_.bind(1, static_cast<std::int64_t>(chunk.input));
        insert_chunk_.bind(2, std::int64_t{chunk.link});
        insert_chunk_.bind(3, chunk.t_rx_ns);
        insert_chunk_.bind(4, chunk.utc_rx_ns);
        insert_chunk_.bind(5, static_cast<std::int64_t>(chunk.stream_offset));
        insert_chunk_.bind(6, std::int64_t{chunk.carried});
        insert_chunk_.bind(7, std::span<const std::byte>(batch.bytes).subspan(chunk.bytes.offset, chunk.bytes.size));
        insert_chunk_.run();
        next_input_ = std::max(next_input_, chunk.input + 1);
    }
    for (const ActionRecord& action : batch.actions) {
        const std::string json = to_json(action.action);
        insert_action_.bind(1, static_cast<std::int64_t>(action.input));
        insert_action_.bind(2, action.t_ns);
        insert_action_.bind(3, json);
        insert_action_.run();
        next_input_ = std::max(next_input_, action.input + 1);
    }
    const auto bind_known = [this](int place, std::int64_t value) {
        if (value < 0)
            insert_frame_.bind_null(place);
        else
            insert_frame_.bind(place, value);
    };
    const std::int64_t frame_id_base = next_frame_id_;
    for (const FrameRecord& frame : batch.frames) {
        insert_frame_.bind(1, next_frame_id_++);
        insert_frame_.bind(2, std::int64_t{frame.link});
        insert_frame_.bind(3, frame.t_rx_ns);
        insert_frame_.bind(4, static_cast<std::int64_t>(frame.stream_offset));
        insert_frame_.bind(5, std::int64_t{frame.link_octets});
        insert_frame_.bind(6, static_cast<std::int64_t>(frame.frame_verdict));
        insert_frame_.bind(7, static_cast<std::int64_t>(frame.decode_verdict));
        insert_frame_.bind(8, static_cast<std::int64_t>(frame.packet_verdict));
        bind_known(9, frame.apid);
        bind_known(10, frame.sequence_count);
        bind_known(11, frame.onboard_ns);
        insert_frame_.bind(12, std::int64_t{frame.boot});
        insert_frame_.run();
    }
    std::size_t rows_left_out = 0;
    for (const RowRecord& row : batch.rows) {
        if (row.table >= tables_.size()) {
            ++rows_left_out;
            continue;
        }
        const Table& table = tables_[row.table].table;
        const auto numbers = batch.numbers_of(row, table);
        const auto texts = batch.texts_of(row, table);
        Statement& insert = insert_row_[row.table];
        insert.bind(1, row.t_ns);
        insert.bind(2, row.t_rx_ns);
        if (row.frame < 0)
            insert.bind_null(3);
        else
            insert.bind(3, frame_id_base + row.frame);
        int place = 4;
        for (const double number : numbers) insert.bind(place++, number);
        for (const std::string& text : texts) insert.bind(place++, text);
        insert.run();
        ++rows_and_events_;
        rollups_[row.table].add(row.t_ns, numbers);
    }
    for (const Event& event : batch.events) {
        const std::string values_json = to_json(event.values);
        insert_event_.bind(1, event.t_ns);
        insert_event_.bind(2, event.t_found_ns);
        insert_event_.bind(3, event.t_sigma_s);
        insert_event_.bind(4, word(event.kind));
        insert_event_.bind(5, word(event.level));
        if (event.vehicle < 0)
            insert_event_.bind_null(6);
        else
            insert_event_.bind(6, std::int64_t{event.vehicle});
        insert_event_.bind(7, event.key);
        insert_event_.bind(8, event.text);
        insert_event_.bind(9, values_json);
        insert_event_.run();
        ++rows_and_events_;
    }
    t_end_ns_ = newest_time(batch, t_end_ns_);
    return rows_left_out;
}

void RecordingFile::set_meta(const std::string& key, const std::string& value) {
    begin();
    replace_meta_.bind(1, key);
    replace_meta_.bind(2, value);
    replace_meta_.run();
}

void RecordingFile::commit() {
    if (!database_.in_transaction()) return;
    for (RollupWriter& rollup : rollups_) rollup.write(false);
    database_.execute("COMMIT");
    if (wal_pages_ >= kCheckpointPages) {
        // Passive: waits for no reader. What a reader still needs is folded back at a later commit. A failure here
        // loses nothing, since the data are in the write-ahead file; if it lasts, the next commit fails.
        sqlite3_wal_checkpoint_v2(database_.handle(), nullptr, SQLITE_CHECKPOINT_PASSIVE, nullptr, nullptr);
    }
}

void RecordingFile::close(const std::string& ended) {
    begin();
    for (RollupWriter& rollup : rollups_) rollup.write(true);
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
