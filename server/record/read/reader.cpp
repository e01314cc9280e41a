#include "server/record/read/reader.hpp"

#include <algorithm>
#include <memory>
#include <numeric>
#include <set>

#include <spdlog/spdlog.h>

#include "server/record/read/frame_bytes.hpp"
#include "server/record/read/input_rows.hpp"
#include "server/record/read/reader_state.hpp"
#include "server/record/write/repair.hpp"

namespace turnstone {

namespace {

std::int64_t to_integer(const std::string& text) {
    return std::strtoll(text.c_str(), nullptr, 10);
}

} // namespace

std::string RecordingReader::State::meta(const std::string& key) {
    Statement statement(database, "SELECT value FROM meta WHERE key = ?");
    statement.bind(1, key);
    return statement.step() ? statement.text(0) : std::string();
}

void RecordingReader::State::look_for_series() {
    const std::int64_t version = database.integer("PRAGMA schema_version");
    if (version == schema_version_) return;
    std::set<std::string> names;
    Statement found(database, "SELECT name FROM sqlite_schema WHERE type = 'table'");
    while (found.step()) names.insert(found.text(0));
    has_rows_.clear();
    for (const StoredTable& each : tables) has_rows_.push_back(names.contains(each.rows_name()));
    schema_version_ = version;
}

SeriesRows* RecordingReader::State::rows_of(std::size_t table) {
    if (!has_rows_[table]) return nullptr;
    rows_.resize(tables.size());
    if (!rows_[table]) {
        std::vector<std::size_t> columns(tables[table].table.columns.size());
        std::iota(columns.begin(), columns.end(), std::size_t{0});
        rows_[table] = std::make_unique<SeriesRows>(database, tables[table], std::move(columns));
    }
    return rows_[table].get();
}

void RecordingReader::State::note_damage(const std::exception& error) {
    damage = error.what();
    spdlog::error("{}: {}", path.string(), damage);
}

RecordingReader::RecordingReader(std::unique_ptr<State> state) : state_(std::move(state)) {}
RecordingReader::RecordingReader(RecordingReader&&) noexcept = default;
RecordingReader& RecordingReader::operator=(RecordingReader&&) noexcept = default;
RecordingReader::~RecordingReader() = default;

const Schema& RecordingReader::schema() const {
    return state_->schema;
}
const std::string& RecordingReader::damage() const {
    return state_->damage;
}

RecordingInfo RecordingReader::info() {
    RecordingInfo info;
    info.path = state_->path;
    info.id = state_->path.stem().string();
    std::error_code error;
    const auto size = std::filesystem::file_size(state_->path, error);
    info.file_bytes = error ? 0 : size;
    try {
        const ReadTransaction transaction(state_->database);
        info.name = state_->meta("name");
        info.notes = state_->meta("notes");
        info.archived = state_->meta("archived") == "1";
        info.version = state_->meta("version");
        info.t_start_ns = to_integer(state_->meta("t_start_ns"));
        info.utc_start_ns = to_integer(state_->meta("utc_start_ns"));
        const auto count = [&](const std::string& key) {
            return static_cast<std::uint64_t>(to_integer(state_->meta(key)));
        };
        info.layout = state_->database.integer("PRAGMA user_version");
        info.inputs_dropped = count(info.layout == 1 ? "batches_dropped" : "inputs_dropped");
        info.bytes_dropped = count("bytes_dropped");
        info.rows_dropped = count("rows_dropped");
        for (const char* table : {"chunk", "action"})
            info.inputs = std::max(info.inputs, static_cast<std::uint64_t>(state_->database.integer(
                                                    "SELECT max(input) + 1 FROM " + std::string(table))));
        if (!state_->meta("derived_inputs").empty())
            info.derived = {count("derived_inputs"), to_integer(state_->meta("derived_t_ns"))};
        info.ended = state_->meta("ended");
        info.closed = !info.ended.empty();
        info.repaired = info.ended == "repaired";
        info.t_end_ns =
            info.closed ? to_integer(state_->meta("t_end_ns")) : newest_stored_time(state_->database, state_->tables);
        Statement vehicles(state_->database, "SELECT name FROM vehicle ORDER BY id");
        while (vehicles.step()) info.vehicles += (info.vehicles.empty() ? "" : ",") + vehicles.text(0);
    } catch (const SqliteError& failure) {
        state_->note_damage(failure);
    }
    info.damage = state_->damage;
    return info;
}

std::vector<std::optional<std::pair<std::int64_t, std::vector<double>>>> RecordingReader::latest(std::int64_t t_ns) {
    std::vector<std::optional<std::pair<std::int64_t, std::vector<double>>>> result(state_->tables.size());
    try {
        const ReadTransaction transaction(state_->database);
        state_->look_for_series();
        for (std::size_t i = 0; i < state_->tables.size(); ++i) {
            SeriesRows* rows = state_->rows_of(i);
            if (rows != nullptr && rows->find_last(t_ns)) result[i].emplace(rows->row().t_ns, rows->row().numbers);
        }
    } catch (const SqliteError& failure) {
        state_->note_damage(failure);
    }
    return result;
}

std::int64_t RecordingReader::rows(std::int64_t from_ns, std::int64_t to_ns, std::size_t rows_max, Batch& out) {
    std::int64_t complete_ns = to_ns;
    std::vector<SeriesRows*> heads; // of the series that have rows left
    try {
        const ReadTransaction transaction(state_->database);
        state_->look_for_series();
        Statement frame_time(state_->database, "SELECT t_rx_ns FROM frame WHERE id = ?");
        const auto received_ns = [&](const SeriesRow& row, std::int64_t base_ns) {
            if (row.t_rx_ns) return *row.t_rx_ns;
            frame_time.bind(1, row.frame);
            const std::int64_t t_rx_ns = frame_time.step() ? station_time_ns(frame_time.integer(0), base_ns) : row.t_ns;
            frame_time.reset();
            return t_rx_ns;
        };
        std::vector<std::size_t> tables;
        for (std::size_t i = 0; i < state_->tables.size(); ++i) {
            SeriesRows* rows = state_->rows_of(i);
            if (rows == nullptr) continue;
            rows->start(from_ns, to_ns);
            heads.push_back(rows);
            tables.push_back(i);
            if (!rows->next()) {
                heads.pop_back();
                tables.pop_back();
            }
        }
        std::size_t given = 0;
        std::int64_t last_ns = from_ns;
        while (!heads.empty()) {
            const auto oldest =
                std::ranges::min_element(heads, {}, [](const SeriesRows* rows) { return rows->row().t_ns; });
            const auto place = oldest - heads.begin();
            const SeriesRow& row = (*oldest)->row();
            if (given >= rows_max && row.t_ns != last_ns) {
                complete_ns = row.t_ns;
                break;
            }
            const StoredTable& table = state_->tables[tables[static_cast<std::size_t>(place)]];
            out.rows.push_back({table.table.id, row.t_ns, received_ns(row, table.base_ns), -1,
                                static_cast<std::uint32_t>(out.numbers.size()),
                                static_cast<std::uint32_t>(out.texts.size())});
            out.numbers.insert(out.numbers.end(), row.numbers.begin(), row.numbers.end());
            out.texts.insert(out.texts.end(), row.texts.begin(), row.texts.end());
            last_ns = row.t_ns;
            ++given;
            if (!(*oldest)->next()) {
                heads.erase(oldest);
                tables.erase(tables.begin() + place);
            }
        }
    } catch (const SqliteError& failure) {
        state_->note_damage(failure);
    }
    for (SeriesRows* rows : heads) rows->reset();
    return complete_ns;
}

std::vector<Event> RecordingReader::events(std::int64_t from_ns, std::int64_t to_ns, std::vector<std::int64_t>* ids) {
    std::vector<Event> events;
    try {
        RowSelect<EventRow> rows(state_->database, kEventTable, "WHERE t_ns >= ? AND t_ns < ? ORDER BY t_ns, id");
        const std::int64_t base_ns = time_base_ns(state_->database);
        rows.bind(1, stored_time_ns(from_ns, base_ns));
        rows.bind(2, stored_time_ns(to_ns, base_ns));
        while (rows.step()) {
            EventRow row = rows.row();
            events.push_back(std::move(row.event));
            if (ids != nullptr) ids->push_back(row.id);
        }
    } catch (const SqliteError& failure) {
        state_->note_damage(failure);
    }
    return events;
}

FramePage RecordingReader::frames(std::int64_t after_id, std::size_t limit, std::optional<LinkId> link) {
    FramePage page;
    try {
        const ReadTransaction transaction(state_->database);
        RowSelect<FrameRow> rows(state_->database, kFrameTable,
                                 std::string("WHERE id > ?1") + (link ? " AND link = ?3" : "") +
                                     " ORDER BY id LIMIT ?2");
        rows.bind(1, after_id);
        rows.bind(2, static_cast<std::int64_t>(limit));
        if (link) rows.bind(3, std::int64_t{*link});
        FrameBytes bytes(state_->database);
        while (rows.step()) {
            const auto [id, frame] = rows.row();
            page.ids.push_back(id);
            page.frames.push_back(frame);
            page.bytes.push_back(bytes.of(id, frame));
        }
    } catch (const SqliteError& failure) {
        state_->note_damage(failure);
    }
    return page;
}

std::optional<std::int64_t> RecordingReader::newest_frame(LinkId link, bool good) {
    try {
        Statement newest(state_->database,
                         "SELECT id FROM frame WHERE id > (SELECT max(id) FROM frame) - ?1 AND link = "
                         "?2 AND (packet_verdict IN (?3, ?4)) = ?5 AND frame_verdict <> ?6 ORDER BY id DESC LIMIT 1");
        newest.bind(1, kNewestFramesMax);
        newest.bind(2, std::int64_t{link});
        newest.bind(3, static_cast<std::int64_t>(PacketVerdict::bad_frame));
        newest.bind(4, static_cast<std::int64_t>(PacketVerdict::undecodable));
        newest.bind(5, std::int64_t{good ? 0 : 1});
        newest.bind(6, static_cast<std::int64_t>(FrameVerdict::combined)); // came by no link
        if (newest.step()) return newest.integer(0);
    } catch (const SqliteError& failure) {
        state_->note_damage(failure);
    }
    return std::nullopt;
}

void RecordingReader::inputs(const std::function<void(const ChunkRecord&, std::span<const std::byte>)>& on_chunk,
                             const std::function<void(const ActionRecord&)>& on_action) {
    try {
        const ReadTransaction transaction(state_->database);
        InputRows<ChunkRow> chunks(state_->database, kChunkTable, state_->passing_over_damage);
        InputRows<ActionRecord> actions(state_->database, kActionTable, state_->passing_over_damage);
        bool chunk = chunks.next(), action = actions.next();
        while (chunk || action) {
            if (chunk && (!action || chunks.row().chunk.input < actions.row().input)) {
                on_chunk(chunks.row().chunk, chunks.row().bytes);
                chunk = chunks.next();
            } else {
                on_action(actions.row());
                action = actions.next();
            }
        }
        for (const std::string& damage : {chunks.damage(), actions.damage()})
            if (state_->damage.empty()) state_->damage = damage;
    } catch (const SqliteError& failure) {
        state_->note_damage(failure);
    }
}

Inputs RecordingReader::inputs_of(std::uint64_t first, std::uint64_t count) {
    Inputs inputs;
    try {
        const ReadTransaction transaction(state_->database);
        const auto bind = [&](auto& rows) {
            rows.bind(1, static_cast<std::int64_t>(first));
            rows.bind(2, static_cast<std::int64_t>(first + count));
        };
        const std::string range = "WHERE input >= ? AND input < ? ORDER BY input";
        RowSelect<ChunkRow> chunks(state_->database, kChunkTable, range);
        bind(chunks);
        while (chunks.step()) {
            ChunkRow row = chunks.row();
            row.chunk.bytes = {static_cast<std::uint32_t>(inputs.bytes.size()),
                               static_cast<std::uint32_t>(row.bytes.size())};
            inputs.chunks.push_back(row.chunk);
            inputs.bytes.insert(inputs.bytes.end(), row.bytes.begin(), row.bytes.end());
        }
        RowSelect<ActionRecord> actions(state_->database, kActionTable, range);
        bind(actions);
        while (actions.step()) inputs.actions.push_back(actions.row());
    } catch (const SqliteError& failure) {
        state_->note_damage(failure);
    }
    return inputs;
}

EventPage RecordingReader::event_page(std::int64_t from_ns, std::int64_t to_ns, std::int64_t after_id,
                                      std::size_t limit) {
    EventPage page;
    try {
        RowSelect<EventRow> rows(state_->database, kEventTable,
                                 "WHERE id > ? AND t_ns >= ? AND t_ns < ? ORDER BY id LIMIT ?");
        const std::int64_t base_ns = time_base_ns(state_->database);
        rows.bind(1, after_id);
        rows.bind(2, stored_time_ns(from_ns, base_ns));
        rows.bind(3, stored_time_ns(to_ns, base_ns));
        rows.bind(4, static_cast<std::int64_t>(limit) + 1);
        while (rows.step()) {
            if (page.events.size() == limit) {
                page.more = true;
                break;
            }
            EventRow row = rows.row();
            page.events.push_back(std::move(row.event));
            page.last_id = row.id;
        }
    } catch (const SqliteError& failure) {
        state_->note_damage(failure);
    }
    return page;
}

Result<std::uint64_t> RecordingReader::snapshot(const std::filesystem::path& target,
                                                const std::function<Result<void>(std::uint64_t)>& may_go_on) {
    constexpr int kStepPages = 256;
    try {
        {
            Database copy(target, Database::Mode::create);
            copy.execute("PRAGMA synchronous = OFF");  // if a power cut spoils the copy, it is made again
            copy.execute("PRAGMA journal_mode = OFF"); // and a copy that fails is removed
            // The open read transaction holds the copy to one state while the writer goes on.
            const ReadTransaction transaction(state_->database);
            static_cast<void>(state_->meta("version")); // the first read fixes the state
            sqlite3_backup* backup = sqlite3_backup_init(copy.handle(), "main", state_->database.handle(), "main");
            if (backup == nullptr) copy.raise(sqlite3_extended_errcode(copy.handle()), "copying to " + target.string());
            const auto page_bytes = static_cast<std::uint64_t>(state_->database.integer("PRAGMA page_size"));
            Result<void> allowed;
            while (sqlite3_backup_step(backup, kStepPages) == SQLITE_OK) {
                if (may_go_on)
                    allowed = may_go_on(static_cast<std::uint64_t>(sqlite3_backup_remaining(backup)) * page_bytes);
                if (!allowed) break;
            }
            const int code = sqlite3_backup_finish(backup);
            if (!allowed) return tl::unexpected(allowed.error());
            if (code != SQLITE_OK) copy.raise(code, "copying to " + target.string());
        }
        const auto finished = repair_recording(target, "snapshot");
        if (!finished) return tl::unexpected(finished.error());
        return std::filesystem::file_size(target);
    } catch (const std::exception& failure) {
        return fail("copy of " + state_->path.string() + ": " + failure.what() +
                    "; check that there is room for it and that the directory may be written to");
    }
}

} // namespace turnstone
