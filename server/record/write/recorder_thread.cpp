#include <algorithm>

#include <spdlog/spdlog.h>

#include "server/record/write/recorder_thread.hpp"
#include "server/record/write/repair.hpp"

namespace turnstone {

namespace {

/// Bounds the memory and time of one transaction when a backlog is written after a fault.
constexpr std::size_t kCommitBytesMax = 8u << 20;
constexpr auto kHousekeepingInterval = std::chrono::seconds(1);

/// What went wrong and what to do, for the person at the range.
std::string advice(const SqliteError& error, const std::filesystem::path& directory) {
    const std::string where = " in " + directory.string();
    switch (error.code()) {
    case SQLITE_FULL: return "disk full" + where + ": delete or move something there; recording goes on by itself";
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_CANTOPEN:
    case SQLITE_AUTH:
        return "cannot write" + where +
               ": check that the directory exists and may be written to; recording goes on by "
               "itself (" +
               error.what() + ")";
    case SQLITE_IOERR:
        return "disk error" + where + ": check the disk and its cable, or begin again on another disk (" +
               error.what() + ")";
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

void Recorder::State::set_fault(const std::string& text) {
    const std::lock_guard lock(mutex);
    if (status.fault != text) {
        if (text.empty())
            spdlog::info("recording works again");
        else
            spdlog::error("{}", text);
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
        if (last && (work.empty() || retry_at)) break;
        if (Clock::now() >= housekeeping_at) keep_house();
    }
    give_up();
}

/// Sleeps until there is something to do; leaves the queue's content in `work`.
void Recorder::State::wait_for_work() {
    Clock::time_point until = housekeeping_at;
    if (retry_at)
        until = std::min(until, *retry_at);
    else if (applied < work.size())
        until = Clock::now();
    else if (applied > 0)
        until = std::min(until, commit_at);
    std::unique_lock lock(mutex);
    // While at fault only the retry time counts, not what comes in.
    work_came.wait_until(lock, until, [this] { return stopping || (!queue.empty() && !retry_at); });
    while (!queue.empty()) {
        work.push_back(std::move(queue.front()));
        queue.pop_front();
    }
    if (stopping) retry_at.reset();
}

void Recorder::State::work_off() {
    if (retry_at) {
        if (Clock::now() < *retry_at) return;
        retry_at.reset();
    }
    bool stop_now = false;
    {
        const std::lock_guard lock(mutex);
        stop_now = stopping;
    }
    while (applied < work.size()) {
        Command& command = work[applied];
        if (command.kind == Command::Kind::begin || command.kind == Command::Kind::flush)
            commit(); // everything before it is safe first; the command is then at the front
        if (applied == 0) {
            // Counted from the transaction's start, not from when its oldest batch was pushed: a backlog,
            // whose batches are all overdue, is then still written in few transactions.
            commit_at = Clock::now() + std::chrono::milliseconds(settings.commit_interval_ms);
        }
        apply(work[applied]);
        if (applied > 0 && (applied_bytes >= kCommitBytesMax || Clock::now() >= commit_at)) commit();
    }
    if (applied > 0 && (stop_now || Clock::now() >= commit_at)) commit();
    if (stop_now && work.empty()) close_current();
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
        {
            const std::lock_guard lock(mutex);
            status.recording = true;
        }
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

/// Opens the file of the recording under way if it is not open: makes it the first time, continues it after a
/// fault.
void Recorder::State::open_current() {
    if (file) return;
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
}

void Recorder::State::close_current() {
    if (!current) return;
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
    if (applied == 0) return;
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
    if (file) file->commit();
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
    status.recording = file.has_value(); // true again only once something is safe
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
    {
        const std::lock_guard lock(mutex);
        status.recording = false;
    }
    set_fault(advice(error, settings.directory));
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
        if (file && file->path() == path) return true;
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
    if (file && !file->still_in_place()) recover(SqliteError(SQLITE_NOTADB, file->path().string() + " has vanished"));
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
    if (lost > 0) spdlog::error("{} batches could not be written before the end: {}", lost, status.fault);
    flush_done = flush_asked;
    work_done.notify_all();
}

} // namespace turnstone
