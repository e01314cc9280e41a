#include "server/record/write/recorder_thread.hpp"

#include <algorithm>
#include <iterator>
#include <system_error>
#include <utility>

#include <spdlog/spdlog.h>

#include "server/record/write/recording_fault.hpp"
#include "server/record/write/repair.hpp"

namespace turnstone {

namespace {

/// Bounds the memory and time of one transaction when a backlog is written after a fault.
constexpr std::size_t kCommitBytesMax = 8u << 20;
constexpr auto kLookInterval = std::chrono::seconds(1);

} // namespace

RecorderThread::RecorderThread(RecorderSettings settings, SetupTexts setup, RecordingIds& ids, RecorderQueue& queue)
    : settings_(std::move(settings)), setup_(std::move(setup)), ids_(ids), queue_(queue), thread_([this] { run(); }) {}

RecorderThread::~RecorderThread() {
    queue_.stop();
    thread_.join();
}

std::filesystem::path RecorderThread::path_of(const std::string& id) const {
    return settings_.directory / (id + std::string(kRecordingEnding));
}

void RecorderThread::run() {
    look_at_ = Clock::now();
    to_finish_ = unclosed_recordings(settings_.directory);
    for (bool last = false; !last;) {
        last = take_work();
        try {
            do_work(last);
        } catch (const SqliteError& error) {
            recover(error);
        } catch (const std::exception& error) {
            // Directory missing, too many columns, out of memory: there is no SQLite code for these.
            recover(SqliteError(SQLITE_ERROR, error.what()));
        }
        if (last && !retry_at_ && (current_ || !work_.empty()))
            last = false; // a command that cannot be stored came between
        if (Clock::now() >= look_at_) look_after_files();
    }
    give_up();
}

/// Sleeps until there is something to do; leaves the queue's content in `work_`. True when nothing comes after it.
bool RecorderThread::take_work() {
    Clock::time_point until = look_at_;
    if (retry_at_)
        until = std::min(until, *retry_at_);
    else if (transaction_.commands < work_.size())
        until = Clock::now();
    else if (transaction_.commands > 0)
        until = std::min(until, commit_at_);
    // During a fault only the retry time counts, not new data.
    auto taken = queue_.take(until, !retry_at_);
    std::ranges::move(taken.commands, std::back_inserter(work_));
    if (taken.stopped) retry_at_.reset();
    return taken.stopped;
}

void RecorderThread::do_work(bool last) {
    if (retry_at_) {
        if (Clock::now() < *retry_at_) return;
        retry_at_.reset();
    }
    if (doubt_) settle_doubt();
    while (transaction_.commands < work_.size()) {
        const RecorderCommand::Kind kind = work_[transaction_.commands].kind;
        if (kind == RecorderCommand::Kind::begin || kind == RecorderCommand::Kind::flush)
            commit(); // everything before it is safe first; the command is then at the front
        if (transaction_.commands == 0) {
            // Counted from the transaction's start, not from its oldest batch, so that a backlog, all of it overdue,
            // still goes into few transactions.
            commit_at_ = Clock::now() + std::chrono::milliseconds(settings_.commit_interval_ms);
        }
        apply(work_[transaction_.commands]);
        if (transaction_.bytes >= kCommitBytesMax || (transaction_.commands > 0 && Clock::now() >= commit_at_))
            commit();
    }
    if (last || Clock::now() >= commit_at_) commit();
    if (last) close_current();
}

void RecorderThread::apply(RecorderCommand& command) {
    switch (command.kind) {
    case RecorderCommand::Kind::begin:
        if (!command.begun) {
            close_current();
            current_ = {.id = command.id, .head = command.head, .schema = command.schema};
            command.begun = true;
            drops_noted_ = 0;
            queue_.update([&](RecorderStatus& status) {
                status.recording_id = command.id;
                batches_dropped_before_ = status.batches_dropped;
                rows_dropped_before_ = status.rows_dropped;
            });
        }
        open_current();
        work_.pop_front();
        set_fault("");
        queue_.update([](RecorderStatus& status) { status.recording = true; });
        return;
    case RecorderCommand::Kind::flush:
        queue_.flushed(command.ticket);
        work_.pop_front();
        return;
    case RecorderCommand::Kind::meta:
        if (current_) {
            open_current();
            file_->set_meta(command.key, command.value);
        }
        break;
    case RecorderCommand::Kind::batch:
        if (!current_) {
            drop_command(transaction_.commands, "no recording has begun");
            return;
        }
        open_current();
        transaction_.rows += command.batch->rows.size() - file_->append(*command.batch);
        break;
    }
    ++transaction_.commands;
    transaction_.bytes += command.bytes;
}

/// Opens the file of the recording under way if it is not open: makes it the first time, continues it after a fault.
void RecorderThread::open_current() {
    if (file_) return;
    const std::filesystem::path path = path_of(current_->id);
    std::error_code missing;
    std::filesystem::create_directories(settings_.directory, missing);
    if (!std::filesystem::exists(path, missing)) {
        if (current_->made) throw SqliteError(SQLITE_NOTADB, path.string() + " has vanished");
        create_recording(path, setup_, current_->schema, current_->head, settings_.sync_every_commit);
        current_->made = true;
    }
    file_.emplace(path, current_->schema, settings_.sync_every_commit);
}

void RecorderThread::close_current() {
    if (!current_) return;
    if (file_) {
        file_->close("clean");
        file_.reset();
    }
    if (current_->made) {
        to_finish_.push_back(path_of(current_->id));
        look_at_ = Clock::now();
    }
    current_.reset();
    queue_.update([](RecorderStatus& status) { status.recording = false; });
}

void RecorderThread::commit() {
    if (transaction_.commands == 0) return;
    const auto started_at = Clock::now();
    if (file_) {
        const auto [batches, rows] = queue_.update([&](const RecorderStatus& status) {
            return std::pair(status.batches_dropped - batches_dropped_before_,
                             status.rows_dropped - rows_dropped_before_);
        });
        if (batches + rows != drops_noted_) {
            file_->set_meta("batches_dropped", std::to_string(batches));
            file_->set_meta("rows_dropped", std::to_string(rows));
            drops_noted_ = batches + rows;
        }
        doubt_ = {.transaction = transaction_, .entries = file_->entries()};
        file_->commit();
        doubt_.reset();
    }
    const double took_ms = std::chrono::duration<double, std::milli>(Clock::now() - started_at).count();
    queue_.update([&](RecorderStatus& status) { status.commit_ms_max = std::max(status.commit_ms_max, took_ms); });
    committed(std::exchange(transaction_, {}));
}

/// A commit whose sync failed may still be in the file, whose log is read when it is opened again. Writing its batches
/// a second time would double their rows.
void RecorderThread::settle_doubt() {
    if (current_) open_current();
    const Doubt doubt = *std::exchange(doubt_, std::nullopt);
    if (file_ && file_->entries() == doubt.entries) committed(doubt.transaction);
}

void RecorderThread::committed(const Transaction& transaction) {
    work_.erase(work_.begin(), work_.begin() + static_cast<std::ptrdiff_t>(transaction.commands));
    set_fault("");
    queue_.update([&](RecorderStatus& status) {
        status.queue_bytes -= transaction.bytes;
        status.rows_written += transaction.rows;
        status.recording = file_.has_value(); // true again only once something is safe
        status.commits += 1;
    });
}

/// After a failure: forget the open transaction, keep its batches, say what is wrong, try again later.
void RecorderThread::recover(const SqliteError& error) {
    const std::size_t failed = transaction_.commands;
    file_.reset(); // rolls back
    transaction_ = {};
    drops_noted_ = 0;
    if (!doubt_ && is_about_content(error) && failed < work_.size()) {
        drop_command(failed, error.what());
        return;
    }
    if (current_ && is_about_file(error)) {
        // The file stays, for the catalogue to list.
        current_->head.continues = std::exchange(current_->id, ids_.next(current_->head.utc_start_ns));
        current_->made = false;
        doubt_.reset();
        spdlog::error("{}; the recording continues in {}", error.what(), current_->id);
    }
    queue_.update([&](RecorderStatus& status) {
        status.recording = false;
        if (current_) status.recording_id = current_->id;
    });
    set_fault(advice(error, settings_.directory));
    retry_at_ = Clock::now() + std::chrono::milliseconds(settings_.retry_interval_ms);
}

void RecorderThread::drop_command(std::size_t index, const std::string& why) {
    const RecorderCommand& command = work_[index];
    spdlog::error("a batch cannot be recorded and is dropped: {}", why);
    queue_.update([&](RecorderStatus& status) {
        status.queue_bytes -= command.bytes;
        if (command.batch) {
            status.batches_dropped += 1;
            status.bytes_dropped += command.batch->bytes.size();
        }
    });
    work_.erase(work_.begin() + static_cast<std::ptrdiff_t>(index));
}

void RecorderThread::set_fault(const std::string& text) {
    const std::string before = queue_.update([&](RecorderStatus& status) { return std::exchange(status.fault, text); });
    if (before == text) return;
    if (text.empty())
        spdlog::info("recording restored");
    else
        spdlog::error("{}", text);
}

/// Looks at free space and whether the file is still there, makes closed recordings into one file, repairs those left
/// behind.
void RecorderThread::look_after_files() {
    look_at_ = Clock::now() + kLookInterval;
    std::erase_if(to_finish_, [this](const std::filesystem::path& path) {
        if (file_ && file_->path() == path) return true;
        const auto outcome = repair_recording(path);
        if (!outcome) {
            spdlog::error("{}", outcome.error().message);
            return true;
        }
        return *outcome != RepairOutcome::in_use;
    });
    std::error_code error;
    const auto space = std::filesystem::space(settings_.directory, error);
    const std::uint64_t free_bytes = error ? 0 : space.available;
    std::uint64_t file_bytes = 0;
    if (file_) {
        for (const char* ending : {"", "-wal"}) {
            const auto size = std::filesystem::file_size(file_->path().string() + ending, error);
            file_bytes += error ? 0 : size;
        }
    }
    queue_.update([&](RecorderStatus& status) {
        status.disk_free_bytes = free_bytes;
        status.file_bytes = file_bytes;
    });
    if (file_ && !file_->still_in_place())
        recover(SqliteError(SQLITE_NOTADB, file_->path().string() + " has vanished"));
}

/// At the end of the thread: counts and names what could not be written, releases waiting callers.
void RecorderThread::give_up() {
    if (file_) {
        try {
            close_current();
        } catch (const std::exception& error) {
            spdlog::error("closing the recording: {}; the next start repairs it", error.what());
            file_.reset();
        }
    }
    look_after_files();
    std::uint64_t lost = 0;
    const std::string fault = queue_.update([&](RecorderStatus& status) {
        for (const RecorderCommand& command : work_) {
            if (!command.batch) continue;
            status.batches_dropped += 1;
            status.bytes_dropped += command.batch->bytes.size();
            ++lost;
        }
        return status.fault;
    });
    if (lost > 0) spdlog::error("{} batches could not be written before the end: {}", lost, fault);
    queue_.let_go();
}

} // namespace turnstone
