#include "server/record/read/reader.hpp"

#include <algorithm>
#include <array>
#include <fstream>
#include <limits>

#include <spdlog/spdlog.h>

#include "server/record/read/reader_state.hpp"
#include "server/record/write/repair.hpp"

namespace turnstone {

namespace {

std::string number_columns(const StoredTable& table) {
    std::string sql;
    for (std::size_t c = 0; c < table.table.number_count; ++c) sql += ", " + identifier(table.column_sql_names[c]);
    return sql;
}

std::string all_columns(const StoredTable& table) {
    std::string sql;
    for (const std::string& name : table.column_sql_names) sql += ", " + identifier(name);
    return sql;
}

/// Bytes that a database without write-ahead file is short of the size its header gives (SQLite file format, 1.3: page
/// size at offset 16, size in pages at 28, both big-endian). SQLite itself would only call such a file malformed.
std::optional<std::uint64_t> missing_bytes(const std::filesystem::path& path) {
    std::error_code error;
    // A live recording is never opened here: closing any descriptor of a file gives up this process's POSIX
    // locks on it, the writer's among them (sqlite.org/howtocorrupt, 2.2).
    if (std::filesystem::exists(path.string() + "-wal", error)) return std::nullopt;
    std::array<unsigned char, 32> header{};
    std::ifstream file(path, std::ios::binary);
    if (!file.read(reinterpret_cast<char*>(header.data()), header.size()) || header[0] != 'S') return std::nullopt;
    const std::uint64_t stored = header[16] * 256U + header[17];
    const std::uint64_t page_bytes = stored == 1 ? 65536 : stored;
    std::uint64_t pages = 0;
    for (std::size_t i = 28; i < 32; ++i) pages = pages << 8 | header[i];
    const std::uint64_t size = std::filesystem::file_size(path, error);
    return !error && size < pages * page_bytes ? std::optional(pages * page_bytes - size) : std::nullopt;
}

std::int64_t to_integer(const std::string& text) {
    return std::strtoll(text.c_str(), nullptr, 10);
}

} // namespace

std::string RecordingReader::State::meta(const std::string& key) {
    Statement statement(database, "SELECT value FROM meta WHERE key = ?");
    statement.bind(1, key);
    return statement.step() ? statement.text(0) : std::string();
}

void RecordingReader::State::note_damage(const std::exception& error) {
    damage = error.what();
    spdlog::error("{}: {}", path.string(), damage);
}

RecordingReader::RecordingReader(std::unique_ptr<State> state) : state_(std::move(state)) {}
RecordingReader::RecordingReader(RecordingReader&&) noexcept = default;
RecordingReader& RecordingReader::operator=(RecordingReader&&) noexcept = default;
RecordingReader::~RecordingReader() = default;

Result<RecordingReader> RecordingReader::open(const std::filesystem::path& path) {
    std::error_code error;
    if (!std::filesystem::is_regular_file(path, error)) {
        return fail(path.string() + ": no such file; give the path of a recording (*" + std::string(kRecordingEnding) +
                    ")");
    }
    if (std::filesystem::file_size(path, error) == 0)
        return fail(path.string() + ": the file is empty; a recording is expected");
    if (const auto missing = missing_bytes(path)) {
        return fail(path.string() + ": the file is cut short by " + std::to_string(*missing) +
                    " bytes; copy it again, or salvage what is left with the sqlite3 shell's .recover");
    }
    try {
        auto state = std::make_unique<State>(path);
        const std::int64_t application = state->database.integer("PRAGMA application_id");
        if (application != kApplicationId) {
            return fail(path.string() + ": a SQLite file, but not a recording (application_id " +
                        std::to_string(application) + ", a recording has " + std::to_string(kApplicationId) + ")");
        }
        const std::int64_t version = state->database.integer("PRAGMA user_version");
        if (!is_readable(state->database)) {
            return fail(path.string() + ": layout version " + std::to_string(version) +
                        "; this program reads versions " + std::to_string(kLayoutVersionOldest) + " to " +
                        std::to_string(kLayoutVersion) + ": open it with the Turnstone that wrote it");
        }
        state->tables = read_tables(state->database);
        for (std::size_t i = 0; i < state->tables.size(); ++i) {
            if (state->tables[i].table.id != i)
                return fail(path.string() + ": its list of series has a gap at " + std::to_string(i));
            state->schema.tables.push_back(state->tables[i].table);
        }
        return RecordingReader(std::move(state));
    } catch (const std::exception& failure) {
        return fail(path.string() + ": cannot be read as a recording: " + failure.what());
    }
}

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
        if (state_->latest.empty()) {
            for (const StoredTable& table : state_->tables) {
                state_->latest.emplace_back(
                    state_->database, "SELECT t_ns" + number_columns(table) + " FROM " + identifier(table.sql_name) +
                                          " WHERE t_ns <= ? ORDER BY t_ns DESC, id DESC LIMIT 1");
            }
        }
        const ReadTransaction transaction(state_->database);
        for (std::size_t i = 0; i < state_->tables.size(); ++i) {
            Statement& statement = state_->latest[i];
            statement.bind(1, t_ns);
            if (statement.step()) {
                std::vector<double> numbers(state_->tables[i].table.number_count);
                for (std::size_t c = 0; c < numbers.size(); ++c) numbers[c] = statement.number(static_cast<int>(c) + 1);
                result[i].emplace(statement.integer(0), std::move(numbers));
            }
            statement.reset();
        }
    } catch (const SqliteError& failure) {
        state_->note_damage(failure);
    }
    return result;
}

std::int64_t RecordingReader::rows(std::int64_t from_ns, std::int64_t to_ns, std::size_t rows_max, Batch& out) {
    constexpr std::int64_t kNone = std::numeric_limits<std::int64_t>::max();
    std::int64_t complete_ns = to_ns;
    try {
        if (state_->window.empty()) {
            for (const StoredTable& table : state_->tables) {
                state_->window.emplace_back(state_->database, "SELECT t_ns, t_rx_ns" + all_columns(table) + " FROM " +
                                                                  identifier(table.sql_name) +
                                                                  " WHERE t_ns >= ? AND t_ns < ? ORDER BY t_ns, id");
            }
        }
        const ReadTransaction transaction(state_->database);
        std::vector<std::int64_t> head_ns(state_->tables.size());
        const auto advance = [&](std::size_t i) {
            head_ns[i] = state_->window[i].step() ? state_->window[i].integer(0) : kNone;
        };
        for (std::size_t i = 0; i < head_ns.size(); ++i) {
            state_->window[i].bind(1, from_ns);
            state_->window[i].bind(2, to_ns);
            advance(i);
        }
        std::size_t given = 0;
        std::int64_t last_ns = from_ns;
        while (!head_ns.empty()) {
            const auto oldest = std::ranges::min_element(head_ns);
            if (*oldest == kNone) break;
            if (given >= rows_max && *oldest != last_ns) {
                complete_ns = *oldest;
                break;
            }
            const auto i = static_cast<std::size_t>(oldest - head_ns.begin());
            const Table& table = state_->tables[i].table;
            Statement& row = state_->window[i];
            out.rows.push_back({table.id, row.integer(0), row.integer(1), -1,
                                static_cast<std::uint32_t>(out.numbers.size()),
                                static_cast<std::uint32_t>(out.texts.size())});
            for (std::size_t c = 0; c < table.columns.size(); ++c)
                if (c < table.number_count)
                    out.numbers.push_back(row.number(static_cast<int>(c) + 2));
                else
                    out.texts.push_back(row.text(static_cast<int>(c) + 2));
            last_ns = *oldest;
            ++given;
            advance(i);
        }
    } catch (const SqliteError& failure) {
        state_->note_damage(failure);
    }
    for (Statement& statement : state_->window) statement.reset();
    return complete_ns;
}

std::vector<Event> RecordingReader::events(std::int64_t from_ns, std::int64_t to_ns, std::vector<std::int64_t>* ids) {
    std::vector<Event> events;
    try {
        RowSelect<EventRow> rows(state_->database, kEventTable, "WHERE t_ns >= ? AND t_ns < ? ORDER BY t_ns, id");
        rows.bind(1, from_ns);
        rows.bind(2, to_ns);
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
        // The chunk with the frame's first byte, and those after it until the frame is whole.
        Statement chunks(
            state_->database,
            "SELECT stream_offset, bytes FROM chunk WHERE link = ?1 AND stream_offset < ?3 AND stream_offset "
            ">= "
            "(SELECT coalesce(max(stream_offset), 0) FROM chunk WHERE link = ?1 AND stream_offset <= ?2) "
            "ORDER BY stream_offset");
        while (rows.step()) {
            const auto [id, frame] = rows.row();
            const auto begin = static_cast<std::int64_t>(frame.stream_offset);
            const std::int64_t end = begin + frame.link_bytes;
            std::vector<std::byte> bytes;
            chunks.bind(1, std::int64_t{frame.link});
            chunks.bind(2, begin);
            chunks.bind(3, end);
            while (chunks.step()) {
                const std::int64_t offset = chunks.integer(0);
                const auto blob = chunks.blob(1);
                const auto size = static_cast<std::int64_t>(blob.size());
                const std::int64_t first = std::clamp<std::int64_t>(begin - offset, 0, size);
                const std::int64_t last = std::clamp<std::int64_t>(end - offset, first, size);
                bytes.insert(bytes.end(), blob.begin() + first, blob.begin() + last);
            }
            chunks.reset();
            page.ids.push_back(id);
            page.frames.push_back(frame);
            page.bytes.push_back(std::move(bytes));
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
                         "?2 AND (packet_verdict IN (?3, ?4)) = ?5 ORDER BY id DESC LIMIT 1");
        newest.bind(1, kNewestFramesMax);
        newest.bind(2, std::int64_t{link});
        newest.bind(3, static_cast<std::int64_t>(PacketVerdict::bad_frame));
        newest.bind(4, static_cast<std::int64_t>(PacketVerdict::undecodable));
        newest.bind(5, std::int64_t{good ? 0 : 1});
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
        RowSelect<ChunkRow> chunks(state_->database, kChunkTable, "ORDER BY input");
        RowSelect<ActionRecord> actions(state_->database, kActionTable, "ORDER BY input");
        std::optional<ChunkRow> chunk;
        std::optional<ActionRecord> action;
        const auto next = [](auto& rows, auto& row) {
            row.reset();
            if (rows.step()) row = rows.row();
        };
        next(chunks, chunk);
        next(actions, action);
        while (chunk || action) {
            if (chunk && (!action || chunk->chunk.input < action->input)) {
                on_chunk(chunk->chunk, chunk->bytes);
                next(chunks, chunk);
            } else {
                on_action(*action);
                next(actions, action);
            }
        }
    } catch (const SqliteError& failure) {
        state_->note_damage(failure);
    }
}

EventPage RecordingReader::event_page(std::int64_t from_ns, std::int64_t to_ns, std::int64_t after_id,
                                      std::size_t limit) {
    EventPage page;
    try {
        RowSelect<EventRow> rows(state_->database, kEventTable,
                                 "WHERE id > ? AND t_ns >= ? AND t_ns < ? ORDER BY id LIMIT ?");
        rows.bind(1, after_id);
        rows.bind(2, from_ns);
        rows.bind(3, to_ns);
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
