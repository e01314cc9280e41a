#include "server/record/recorder.hpp"

#include <algorithm>
#include <atomic>
#include <chrono>
#include <condition_variable>
#include <deque>
#include <mutex>
#include <optional>
#include <set>
#include <thread>

#include <spdlog/spdlog.h>

#include "server/record/catalogue.hpp"
#include "server/record/recording_file.hpp"
#include "server/record/repair.hpp"

namespace turnstone {

namespace {

using Clock = std::chrono::steady_clock;

/// Bounds the memory and time of one transaction when a backlog is written after a fault.
constexpr std::size_t kCommitBytesMax = 8u << 20;
constexpr auto kHousekeepingInterval = std::chrono::seconds(1);

std::size_t size_of(const Batch& batch) {
    std::size_t bytes = sizeof(Batch) + batch.chunks.size() * sizeof(ChunkRecord) + batch.bytes.size() +
                        batch.frames.size() * sizeof(FrameRecord) + batch.rows.size() * sizeof(RowRecord) +
                        batch.numbers.size() * sizeof(double);
    for (const ActionRecord& action : batch.actions) {
        bytes += sizeof(action) + action.json.size();
    }
    for (const std::string& text : batch.texts) {
        bytes += sizeof(text) + text.size();
    }
    for (const Event& event : batch.events) {
        bytes += sizeof(event) + event.key.size() + event.text.size() + event.data_json.size();
    }
    return bytes;
}

struct Command {
    enum class Kind { batch, begin, meta, flush } kind = Kind::batch;
    Clock::time_point since{};
    std::size_t bytes = 0;
    std::shared_ptr<const Batch> batch;
    std::string id, key, value; ///< begin: id; meta: key and value
    RecordingHead head{};
    Schema schema;
    bool made = false;        ///< begin: the file exists
    std::uint64_t ticket = 0; ///< begin, flush
};

/// What went wrong and what to do, for the person at the range.
std::string advice(const SqliteError& error, const std::filesystem::path& directory) {
    const std::string where = " in " + directory.string();
    switch (error.code()) {
    case SQLITE_FULL:
        return "disk full" + where + ": delete or move something there; recording goes on by itself";
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_CANTOPEN:
    case SQLITE_AUTH:
        return "cannot write" + where + ": check that the directory exists and may be written to; recording goes on by "
                                        "itself (" + error.what() + ")";
    case SQLITE_IOERR:
        return "disk error" + where + ": check the disk and its cable, or begin again on another disk (" + error.what() + ")";
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return "another program holds the recording locked" + where + ": close it; recording goes on by itself";
    default: return "recording fails" + where + ": " + error.what();
    }
}

/// The fault is in what was pushed, not in the disk: trying again cannot help.
bool is_about_content(const SqliteError& error) {
    switch (error.code()) {
    case SQLITE_CONSTRAINT:
    case SQLITE_TOOBIG:
    case SQLITE_MISMATCH:
    case SQLITE_RANGE: return true;
    default: return false;
    }
}

} // namespace

struct Recorder::State {
    // Set at construction.
    RecorderSettings settings;
    SetupTexts setup;

    // Shared, guarded by `mutex`.
    mutable std::mutex mutex;
    std::condition_variable work_came, work_done;
    std::deque<Command> queue;
    std::set<std::string> ids_given; ///< given out by begin(), file perhaps not made yet
    std::uint64_t begun = 0, flush_asked = 0, flush_done = 0;
    bool stopping = false;
    RecorderStatus status;

    // The recorder's thread only.
    std::deque<Command> work;        ///< taken from the queue, not committed yet
    std::size_t applied = 0;         ///< of `work`, in the open transaction
    std::size_t applied_bytes = 0;
    std::uint64_t applied_rows = 0;
    std::optional<RecordingFile> file;
    std::optional<Command> current;  ///< the begin command of the recording under way
    std::vector<std::filesystem::path> to_finish; ///< closed or left behind, not one file yet
    std::optional<Clock::time_point> retry_at;
    Clock::time_point housekeeping_at{};
    std::uint64_t batches_dropped_before = 0, rows_dropped_before = 0; ///< in the recordings before this one
    std::uint64_t drops_noted = 0;
    std::thread thread;

    [[nodiscard]] std::filesystem::path path_of(const std::string& id) const {
        return settings.directory / (id + std::string(kRecordingEnding));
    }
    [[nodiscard]] std::string new_id(std::int64_t utc_start_ns); ///< under the mutex
    void run();
    void wait_for_work();
    void work_off();
    void apply(Command& command);
    void open_current();
    void close_current();
    void commit();
    void recover(const SqliteError& error);
    void drop_command(const std::string& why, std::size_t index);
    void set_fault(const std::string& text);
    void keep_house();
    void give_up();
};

std::string Recorder::State::new_id(std::int64_t utc_start_ns) {
    const std::string id =
        make_recording_id(settings.directory, utc_start_ns, setup.vehicles.empty() ? "" : setup.vehicles.front().name);
    std::string unique = id;
    for (int number = 2; !ids_given.insert(unique).second; ++number) {
        unique = id + "-" + std::to_string(number);
    }
    return unique;
}

void Recorder::State::set_fault(const std::string& text) {
    const std::lock_guard lock(mutex);
    if (status.fault != text) {
        if (text.empty()) {
            spdlog::info("recording works again");
        } else {
            spdlog::error("{}", text);
        }
        status.fault = text;
    }
}

void Recorder::State::run() {
    housekeeping_at = Clock::now();
    to_finish = unclosed_recordings(settings.directory);
    for (;;) {
        wait_for_work();
        bool last = false;
        {
            const std::lock_guard lock(mutex);
            last = stopping && queue.empty();
        }
        try {
            work_off();
        } catch (const SqliteError& error) {
            recover(error);
        } catch (const std::exception& error) {
            // Directory missing, too many columns, out of memory: no SQLite code to go by.
            recover(SqliteError(SQLITE_ERROR, error.what()));
        }
        if (last && (work.empty() || retry_at)) {
            break;
        }
        if (Clock::now() >= housekeeping_at) {
            keep_house();
        }
    }
    give_up();
}

/// Sleeps until there is something to do; leaves the queue's content in `work`.
void Recorder::State::wait_for_work() {
    Clock::time_point until = housekeeping_at;
    if (retry_at) {
        until = std::min(until, *retry_at);
    } else if (applied < work.size()) {
        until = Clock::now();
    } else if (applied > 0) {
        until = std::min(until, work.front().since + std::chrono::milliseconds(settings.commit_interval_ms));
    }
    std::unique_lock lock(mutex);
    // While at fault only the retry time counts, not what comes in.
    work_came.wait_until(lock, until, [this] { return stopping || (!queue.empty() && !retry_at); });
    while (!queue.empty()) {
        work.push_back(std::move(queue.front()));
        queue.pop_front();
    }
    if (stopping) {
        retry_at.reset();
    }
}

void Recorder::State::work_off() {
    if (retry_at) {
        if (Clock::now() < *retry_at) {
            return;
        }
        retry_at.reset();
    }
    const auto interval = std::chrono::milliseconds(settings.commit_interval_ms);
    bool stop_now = false;
    {
        const std::lock_guard lock(mutex);
        stop_now = stopping;
    }
    while (applied < work.size()) {
        Command& command = work[applied];
        if (command.kind == Command::Kind::begin || command.kind == Command::Kind::flush) {
            commit(); // everything before it is safe first; the command is then at the front
        }
        apply(work[applied]);
        if (applied > 0 && (applied_bytes >= kCommitBytesMax || Clock::now() >= work.front().since + interval)) {
            commit();
        }
    }
    if (applied > 0 && (stop_now || Clock::now() >= work.front().since + interval)) {
        commit();
    }
    if (stop_now && work.empty()) {
        close_current();
    }
}

void Recorder::State::apply(Command& command) {
    switch (command.kind) {
    case Command::Kind::begin:
        if (!current || current->ticket != command.ticket) {
            close_current();
            current = command;
            const std::lock_guard lock(mutex);
            status.recording_id = command.id;
            batches_dropped_before = status.batches_dropped;
            rows_dropped_before = status.rows_dropped;
        }
        open_current();
        work.pop_front();
        set_fault("");
        return;
    case Command::Kind::flush: {
        const std::lock_guard lock(mutex);
        flush_done = std::max(flush_done, command.ticket);
        work.pop_front();
        work_done.notify_all();
        return;
    }
    case Command::Kind::meta:
        if (current) {
            open_current();
            file->set_meta(command.key, command.value);
        }
        break;
    case Command::Kind::batch:
        if (!current) {
            drop_command("no recording has begun", applied);
            return;
        }
        open_current();
        applied_rows += command.batch->rows.size() - file->append(*command.batch);
        break;
    }
    ++applied;
    applied_bytes += command.bytes;
}

/// Opens the file of the recording under way if it is not open: makes it the first time, continues it after a fault.
void Recorder::State::open_current() {
    if (file) {
        return;
    }
    const std::filesystem::path path = path_of(current->id);
    std::error_code missing;
    std::filesystem::create_directories(settings.directory, missing);
    if (!std::filesystem::exists(path, missing)) {
        if (current->made) {
            // It was made once and has vanished.
            throw SqliteError(SQLITE_NOTADB, path.string() + " has vanished");
        }
        create_recording(path, setup, current->schema, current->head, settings.sync_every_commit);
        current->made = true;
    }
    file.emplace(path, current->schema, settings.sync_every_commit);
    const std::lock_guard lock(mutex);
    status.recording = true;
}

void Recorder::State::close_current() {
    if (!current) {
        return;
    }
    if (file) {
        file->close("clean");
        file.reset();
    }
    if (current->made) {
        to_finish.push_back(path_of(current->id));
        housekeeping_at = Clock::now();
    }
    current.reset();
    const std::lock_guard lock(mutex);
    status.recording = false;
}

void Recorder::State::commit() {
    if (applied == 0) {
        return;
    }
    const auto started_at = Clock::now();
    {
        std::uint64_t batches = 0, rows = 0;
        {
            const std::lock_guard lock(mutex);
            batches = status.batches_dropped - batches_dropped_before;
            rows = status.rows_dropped - rows_dropped_before;
        }
        if (batches + rows != drops_noted && file) {
            file->set_meta("batches_dropped", std::to_string(batches));
            file->set_meta("rows_dropped", std::to_string(rows));
            drops_noted = batches + rows;
        }
    }
    if (file) {
        file->commit();
    }
    const double took_ms = std::chrono::duration<double, std::milli>(Clock::now() - started_at).count();
    std::size_t bytes = 0;
    for (; applied > 0; --applied) {
        bytes += work.front().bytes;
        work.pop_front();
    }
    set_fault("");
    const std::lock_guard lock(mutex);
    status.queue_bytes -= bytes;
    status.rows_written += applied_rows;
    status.commits += 1;
    status.commit_ms_max = std::max(status.commit_ms_max, took_ms);
    applied_rows = 0;
    applied_bytes = 0;
}

/// After a failure: forget the open transaction, keep its batches, say what is wrong, try again later.
void Recorder::State::recover(const SqliteError& error) {
    const std::size_t failed = applied;
    file.reset(); // rolls back
    applied = 0;
    applied_rows = 0;
    applied_bytes = 0;
    drops_noted = 0;
    if (is_about_content(error) && failed < work.size()) {
        drop_command(error.what(), failed);
        return;
    }
    if (current && (error.code() == SQLITE_CORRUPT || error.code() == SQLITE_NOTADB)) {
        // Nothing more goes into this file. What is in it stays for the catalogue to show.
        current->head.continues = current->id;
        const std::lock_guard lock(mutex);
        current->id = new_id(current->head.utc_start_ns);
        current->made = false;
        status.recording_id = current->id;
        spdlog::error("{}; the recording continues in {}", error.what(), current->id);
    }
    set_fault(advice(error, settings.directory));
    {
        const std::lock_guard lock(mutex);
        status.recording = false;
    }
    retry_at = Clock::now() + std::chrono::milliseconds(settings.retry_interval_ms);
}

void Recorder::State::drop_command(const std::string& why, std::size_t index) {
    const Command& command = work[index];
    spdlog::error("a batch cannot be recorded and is dropped: {}", why);
    {
        const std::lock_guard lock(mutex);
        status.queue_bytes -= command.bytes;
        if (command.batch) {
            status.batches_dropped += 1;
            status.bytes_dropped += command.batch->bytes.size();
        }
    }
    work.erase(work.begin() + static_cast<std::ptrdiff_t>(index));
}

/// Once a second: free space, the file still there, closed recordings made into one file, left ones repaired.
void Recorder::State::keep_house() {
    housekeeping_at = Clock::now() + kHousekeepingInterval;
    std::erase_if(to_finish, [this](const std::filesystem::path& path) {
        if (file && file->path() == path) {
            return true;
        }
        const auto outcome = repair_recording(path);
        if (!outcome) {
            spdlog::error("{}", outcome.error().message);
            return true;
        }
        return *outcome != RepairOutcome::in_use;
    });
    std::error_code error;
    const auto space = std::filesystem::space(settings.directory, error);
    const std::uint64_t free_bytes = error ? 0 : space.available;
    std::uint64_t file_bytes = 0;
    if (file) {
        for (const char* ending : {"", "-wal"}) {
            const auto size = std::filesystem::file_size(file->path().string() + ending, error);
            file_bytes += error ? 0 : size;
        }
    }
    {
        const std::lock_guard lock(mutex);
        status.disk_free_bytes = free_bytes;
        status.file_bytes = file_bytes;
    }
    if (file && !file->still_in_place()) {
        recover(SqliteError(SQLITE_NOTADB, file->path().string() + " has vanished"));
    }
}

/// At the end of the thread: what could not be written is counted and named, waiting callers are let go.
void Recorder::State::give_up() {
    if (file) {
        try {
            close_current();
        } catch (const std::exception& error) {
            spdlog::error("closing the recording: {}; the next start repairs it", error.what());
            file.reset();
        }
    }
    keep_house();
    const std::lock_guard lock(mutex);
    std::uint64_t lost = 0;
    for (const Command& command : work) {
        if (command.batch) {
            status.batches_dropped += 1;
            status.bytes_dropped += command.batch->bytes.size();
            ++lost;
        }
    }
    if (lost > 0) {
        spdlog::error("{} batches could not be written before the end: {}", lost, status.fault);
    }
    flush_done = flush_asked;
    work_done.notify_all();
}

Recorder::Recorder(RecorderSettings settings, const PipelineSetup& setup) : state_(std::make_unique<State>()) {
    state_->settings = std::move(settings);
    state_->setup = texts_of(setup);
    state_->thread = std::thread([state = state_.get()] { state->run(); });
}

Recorder::~Recorder() {
    {
        const std::lock_guard lock(state_->mutex);
        state_->stopping = true;
    }
    state_->work_came.notify_all();
    state_->thread.join();
}

std::string Recorder::begin(const Schema& schema, std::int64_t t_start_ns, std::int64_t utc_start_ns,
                            const std::string& name) {
    Command command;
    command.kind = Command::Kind::begin;
    command.since = Clock::now();
    command.schema = schema;
    command.head = {t_start_ns, utc_start_ns, name, ""};
    const std::lock_guard lock(state_->mutex);
    command.id = state_->new_id(utc_start_ns);
    command.ticket = ++state_->begun;
    const std::string id = command.id;
    state_->queue.push_back(std::move(command));
    state_->work_came.notify_one();
    return id;
}

void Recorder::push(std::shared_ptr<const Batch> batch) {
    if (!batch || batch->empty()) {
        return;
    }
    State& state = *state_;
    const std::size_t raw_bytes = batch->bytes.size();
    try {
        Command command;
        command.since = Clock::now();
        command.bytes = size_of(*batch);
        const std::lock_guard lock(state.mutex);
        if (state.status.queue_bytes + command.bytes > state.settings.queue_bytes_max) {
            // Raw bytes first: they are a tenth of what is derived from them, and the rest can be made again from them.
            auto raw = std::make_shared<Batch>();
            raw->chunks = batch->chunks;
            raw->bytes = batch->bytes;
            raw->actions = batch->actions;
            raw->events = batch->events;
            command.bytes = size_of(*raw);
            if (state.status.queue_bytes + command.bytes > state.settings.queue_bytes_max + state.settings.queue_bytes_max / 4) {
                state.status.batches_dropped += 1;
                state.status.bytes_dropped += raw_bytes;
                return;
            }
            state.status.rows_dropped += batch->rows.size();
            batch = std::move(raw);
        }
        command.batch = std::move(batch);
        state.status.queue_bytes += command.bytes;
        state.queue.push_back(std::move(command));
        state.work_came.notify_one();
    } catch (const std::bad_alloc&) {
        const std::lock_guard lock(state.mutex);
        state.status.batches_dropped += 1;
        state.status.bytes_dropped += raw_bytes;
    }
}

void Recorder::set_meta(const std::string& key, const std::string& value) {
    Command command;
    command.kind = Command::Kind::meta;
    command.since = Clock::now();
    command.key = key;
    command.value = value;
    const std::lock_guard lock(state_->mutex);
    state_->queue.push_back(std::move(command));
    state_->work_came.notify_one();
}

bool Recorder::flush(std::int64_t timeout_ms) {
    std::unique_lock lock(state_->mutex);
    Command command;
    command.kind = Command::Kind::flush;
    command.since = Clock::now();
    command.ticket = ++state_->flush_asked;
    const std::uint64_t ticket = command.ticket;
    state_->queue.push_back(std::move(command));
    state_->work_came.notify_one();
    return state_->work_done.wait_for(lock, std::chrono::milliseconds(timeout_ms),
                                      [&] { return state_->flush_done >= ticket; });
}

RecorderStatus Recorder::status() const {
    const std::lock_guard lock(state_->mutex);
    return state_->status;
}

} // namespace turnstone
