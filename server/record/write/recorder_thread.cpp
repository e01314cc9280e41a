#include "server/record/write/recorder_thread.hpp"

#include <algorithm>
#include <system_error>
#include <utility>

#include <spdlog/spdlog.h>

#include "server/record/write/recording_fault.hpp"

namespace turnstone {

namespace {

/// Bounds the memory and time of one transaction, during which inputs wait.
constexpr std::size_t kTransactionBytesMax = 1u << 20;
/// Each transaction with derived rows writes the last page of every table again, so they are few; a second of rows that
/// a kill takes is made again from the inputs.
constexpr auto kDerivedInterval = std::chrono::milliseconds(1500);
/// The pipeline is a few milliseconds behind the links, unless the computer is too slow.
constexpr auto kTapeEndWait = std::chrono::milliseconds(100);
constexpr auto kLookInterval = std::chrono::seconds(1);

} // namespace

RecorderThread::RecorderThread(RecorderSettings settings, SetupTexts setup,
                               std::function<void(const std::filesystem::path&)> on_closed, RecorderQueue& queue)
    : settings_(std::move(settings)), setup_(std::move(setup)), on_closed_(std::move(on_closed)),
      queue_(queue), inputs_{.waiting = {}, .interval = std::chrono::milliseconds(settings_.commit_interval_ms)},
      derived_{.waiting = {}, .interval = kDerivedInterval}, thread_([this] { run(); }) {}

RecorderThread::~RecorderThread() {
    queue_.stop();
    thread_.join();
}

std::filesystem::path RecorderThread::path_of(const std::string& id) const {
    return settings_.directory / (id + std::string(kRecordingEnding));
}

void RecorderThread::run() {
    look_at_ = Clock::now();
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
        if (last && !retry_at_ && (current_ || !work_.empty() || !inputs_.waiting.empty() || !derived_.waiting.empty()))
            last = false; // a command that cannot be stored came between
        if (Clock::now() >= look_at_) look_at_file();
    }
    give_up();
}

/// Sleeps until there is something to do. True when nothing comes after what was taken.
bool RecorderThread::take_work() {
    Clock::time_point until = look_at_;
    if (retry_at_) {
        until = std::min(until, *retry_at_);
    } else if (one_by_one_ != nullptr) {
        until = Clock::now();
    } else if (!work_.empty()) {
        until = std::min(until, work_.front().came_at + kTapeEndWait); // a begin that waits for the end of a tape
    } else {
        for (const Lane* lane : {&inputs_, &derived_})
            if (!lane->waiting.empty()) until = std::min(until, lane->waiting.front().came_at + lane->interval);
    }
    // During a fault only the retry time counts, not new data. Inputs that wait are not written sooner for what comes.
    auto taken = queue_.take(until, !retry_at_ && (inputs_.waiting.empty() || !work_.empty()));
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
    if (one_by_one_ != nullptr) write_one_by_one(*one_by_one_);
    for (sort_out(); !work_.empty(); sort_out()) {
        if (work_.front().kind == RecorderCommand::Kind::begin && !tape_is_over(work_.front().came_at)) break;
        write_all(inputs_);
        write_all(derived_);
        RecorderCommand& command = work_.front();
        if (command.kind == RecorderCommand::Kind::flush)
            queue_.flushed(command.ticket);
        else
            begin(command);
        work_.pop_front();
    }
    const bool derived_due = derived_.due(Clock::now());
    // What follows from inputs is never in a file without them: every kill leaves what can be made again.
    if (last || derived_due || inputs_.due(Clock::now())) write_all(inputs_);
    if (last)
        write_all(derived_);
    else if (derived_due)
        write_some(derived_); // the rest after the inputs that came meanwhile
    if (last) close_current();
}

/// Moves commands to their lanes, up to the first that has to wait for all before it.
void RecorderThread::sort_out() {
    for (; !work_.empty(); work_.pop_front()) {
        RecorderCommand& command = work_.front();
        if (command.kind == RecorderCommand::Kind::begin || command.kind == RecorderCommand::Kind::flush) return;
        if (command.kind == RecorderCommand::Kind::tape_ended) continue;
        const bool derived = command.kind == RecorderCommand::Kind::derived;
        if (derived && (!current_ || command.id != current_->id)) { // too late for its file, where it is made again
            queue_.update([&](RecorderStatus& status) { status.queue_bytes -= command.bytes; });
            continue;
        }
        Lane& lane = derived ? derived_ : inputs_;
        if (!current_) {
            queue_.drop(command);
            queue_.set_oldest({});
            continue;
        }
        lane.waiting.push_back(std::move(command));
    }
}

/// Before another recording begins: all that belongs to this one has come and is in its lane, or is not waited for any
/// longer. Inputs wait meanwhile.
bool RecorderThread::tape_is_over(Clock::time_point begin_came_at) {
    if (!current_ || work_.front().begun) return true;
    const auto ends = std::ranges::find_if(work_, [this](const RecorderCommand& command) {
        return command.kind == RecorderCommand::Kind::tape_ended && command.id == current_->id;
    });
    if (ends == work_.end() && Clock::now() < begin_came_at + kTapeEndWait) return false;
    std::deque<RecorderCommand> rest;
    for (RecorderCommand& command : work_) {
        const bool ours = command.kind == RecorderCommand::Kind::derived && command.id == current_->id;
        (ours ? derived_.waiting : rest).push_back(std::move(command));
    }
    work_ = std::move(rest);
    return true;
}

void RecorderThread::begin(RecorderCommand& command) {
    if (!command.begun) {
        note_drops(command.dropped_before);
        close_current();
        current_ = {.id = command.id,
                    .head = command.head,
                    .schema = command.schema,
                    .made = command.resumes != nullptr,
                    .claim = command.resumes};
        command.begun = true;
        queue_.update([&](RecorderStatus& status) {
            status.recording_id = command.id;
            status.lost = false;
        });
    }
    open_current();
    set_fault("");
    queue_.update([](RecorderStatus& status) { status.recording = true; });
    command.receipt.give();
}

void RecorderThread::write_all(Lane& lane) {
    while (!lane.waiting.empty()) write_some(lane);
}

/// One transaction.
void RecorderThread::write_some(Lane& lane) {
    const auto started_at = Clock::now();
    open_current();
    writing_ = &lane;
    Transaction transaction{.lane = &lane};
    while (transaction.commands < lane.waiting.size() && transaction.bytes < kTransactionBytesMax)
        append(lane.waiting[transaction.commands], transaction);
    note_drops(queue_.update([](const RecorderStatus& status) { return status.dropped_here; }));
    doubt_ = {.transaction = transaction, .entries = file_->entries()};
    file_->commit();
    doubt_.reset();
    const double took_ms = std::chrono::duration<double, std::milli>(Clock::now() - started_at).count();
    queue_.update([&](RecorderStatus& status) { status.commit_ms_max = std::max(status.commit_ms_max, took_ms); });
    committed(transaction);
}

void RecorderThread::append(const RecorderCommand& command, Transaction& transaction) {
    switch (command.kind) {
    case RecorderCommand::Kind::inputs: file_->append(*command.inputs); break;
    case RecorderCommand::Kind::derived:
        transaction.rows += command.batch->rows.size() - file_->append(*command.batch, command.progress);
        break;
    case RecorderCommand::Kind::meta: file_->set_meta(command.key, command.value); break;
    case RecorderCommand::Kind::begin:
    case RecorderCommand::Kind::tape_ended:
    case RecorderCommand::Kind::flush: break; // never in a lane
    }
    ++transaction.commands;
    transaction.bytes += command.bytes;
}

/// Opens the file of the recording under way if it is not open: makes it the first time, continues it after a fault.
void RecorderThread::open_current() {
    if (file_) return;
    const std::filesystem::path path = path_of(current_->id);
    std::error_code error;
    std::filesystem::create_directories(settings_.directory, error);
    if (!current_->claim) {
        auto claim = RecordingClaim::take(path);
        if (!claim) throw SqliteError(SQLITE_NOTADB, path.string() + " is being written by another server");
        current_->claim = std::make_shared<RecordingClaim>(std::move(*claim));
    }
    if (!current_->made) {
        create_recording(path, setup_, current_->schema, current_->head, settings_.sync_every_commit);
        current_->made = true;
    } else if (!std::filesystem::exists(path, error)) {
        throw SqliteError(SQLITE_NOTADB, path.string() + " has vanished");
    }
    file_.emplace(path, current_->schema, settings_.sync_every_commit);
    drops_noted_ = {};
}

void RecorderThread::close_current() {
    if (!current_) return;
    if (file_) {
        file_->close("clean");
        file_.reset();
    }
    const bool made = current_->made;
    const std::filesystem::path path = path_of(current_->id);
    try {
        if (made) make_single_file(path); // at once, unless a reader has it open
    } catch (const SqliteError& error) {
        spdlog::warn("{}; it is tried again in the background",
                     error.what()); // the next recording must not wait for it
    }
    current_.reset(); // with its claim: whoever finishes the file takes it
    queue_.update([](RecorderStatus& status) { status.recording = false; });
    if (made && on_closed_) on_closed_(path);
}

/// The file stays, for the catalogue to list. What was to go into it is in the inputs that a new recording carries
/// over, or lost.
void RecorderThread::leave_behind(const std::string& why) {
    spdlog::error("{}; a new recording begins", why);
    doubt_.reset();
    tell_waiting("the recording's file cannot be written any more, and it is in none");
    for (Lane* lane : {&inputs_, &derived_})
        for (; !lane->waiting.empty(); lane->waiting.pop_front())
            queue_.update([&](RecorderStatus& status) { status.queue_bytes -= lane->waiting.front().bytes; });
    queue_.set_oldest({});
    one_by_one_ = nullptr;
    const std::filesystem::path path = path_of(current_->id);
    current_.reset();
    queue_.update([](RecorderStatus& status) { status.lost = true; });
    if (on_closed_) on_closed_(path);
}

void RecorderThread::note_drops(const Drops& drops) {
    if (drops == drops_noted_ || !file_) return;
    file_->note_drops(drops);
    drops_noted_ = drops;
}

/// A commit whose sync failed may still be in the file, whose log is read when it is opened again. Writing its commands
/// a second time would double their rows.
void RecorderThread::settle_doubt() {
    if (current_) open_current();
    const Doubt doubt = *std::exchange(doubt_, std::nullopt);
    if (file_ && file_->entries() == doubt.entries) committed(doubt.transaction);
}

void RecorderThread::committed(const Transaction& transaction) {
    auto& waiting = transaction.lane->waiting;
    const auto end = waiting.begin() + static_cast<std::ptrdiff_t>(transaction.commands);
    std::for_each(waiting.begin(), end, [](RecorderCommand& command) { command.receipt.give(); });
    waiting.erase(waiting.begin(), end);
    set_fault("");
    queue_.set_oldest(inputs_.waiting.empty() ? Clock::time_point{} : inputs_.waiting.front().came_at);
    queue_.update([&](RecorderStatus& status) {
        status.queue_bytes -= transaction.bytes;
        status.rows_written += transaction.rows;
        status.recording = file_.has_value(); // true again only once something is safe
        status.commits += 1;
    });
}

/// After a failure: forget the open transaction, keep what it held, say what is wrong, try again later.
void RecorderThread::recover(const SqliteError& error) {
    file_.reset(); // rolls back
    queue_.update([](RecorderStatus& status) { status.recording = false; });
    if (!doubt_ && is_about_content(error) && writing_ != nullptr && !writing_->waiting.empty()) {
        one_by_one_ = std::exchange(writing_, nullptr);
        return;
    }
    if (current_ && is_about_file(error)) {
        if (!work_.empty() && work_.front().kind == RecorderCommand::Kind::begin && work_.front().begun)
            work_.pop_front();
        leave_behind(error.what());
        return;
    }
    const std::string fault = advice(error, settings_.directory);
    set_fault(fault);
    tell_waiting(fault);
    retry_at_ = Clock::now() + std::chrono::milliseconds(settings_.retry_interval_ms);
}

/// After a transaction with something in it that cannot be stored: drops that alone.
void RecorderThread::write_one_by_one(Lane& lane) {
    open_current();
    for (std::size_t left = lane.waiting.size(); left > 0; --left) {
        Transaction transaction{.lane = &lane};
        try {
            append(lane.waiting.front(), transaction);
            doubt_ = {.transaction = transaction, .entries = file_->entries()};
            file_->commit();
            doubt_.reset();
            committed(transaction);
        } catch (const SqliteError& error) {
            if (!is_about_content(error) || doubt_) throw;
            spdlog::error("something cannot be recorded and is dropped: {}", error.what());
            file_.reset();
            lane.waiting.front().receipt.give(std::string("it cannot be recorded: ") + error.what());
            queue_.drop(lane.waiting.front());
            lane.waiting.pop_front();
            open_current();
        }
    }
    one_by_one_ = nullptr;
}

void RecorderThread::set_fault(const std::string& text) {
    queue_.update([&](RecorderStatus& status) { status.fault = text; }); // who watches the status logs it, once
}

/// A person does not wait until the disk recovers.
void RecorderThread::tell_waiting(const std::string& why_not) {
    for (auto* waiting : {&inputs_.waiting, &work_})
        for (RecorderCommand& command : *waiting) command.receipt.give(why_not);
}

/// Looks at free space and sizes, and whether the file is still there.
void RecorderThread::look_at_file() {
    look_at_ = Clock::now() + kLookInterval;
    std::error_code error;
    const auto space = std::filesystem::space(settings_.directory, error);
    const std::uint64_t free_bytes = error ? 0 : space.available;
    const auto size_of = [&](const char* ending) -> std::uint64_t {
        const auto size = std::filesystem::file_size(file_->path().string() + ending, error);
        return error ? 0 : size;
    };
    const std::uint64_t log_bytes = file_ ? size_of("-wal") : 0;
    const std::uint64_t file_bytes = file_ ? size_of("") + log_bytes : 0;
    queue_.update([&](RecorderStatus& status) {
        status.disk_free_bytes = free_bytes;
        if (!file_ && current_) return; // closed by a fault: it is as large as it was
        status.file_bytes = file_bytes;
        status.log_bytes = log_bytes;
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
    look_at_file();
    std::uint64_t lost = 0;
    for (auto* waiting : {&inputs_.waiting, &derived_.waiting, &work_}) {
        for (const RecorderCommand& command : *waiting) {
            lost += command.inputs ? 1 : 0;
            queue_.drop(command);
        }
    }
    if (lost > 0) {
        const std::string fault = queue_.status().fault;
        spdlog::error("{} pieces of received data could not be written before the end: {}", lost, fault);
    }
    queue_.let_go();
}

} // namespace turnstone
