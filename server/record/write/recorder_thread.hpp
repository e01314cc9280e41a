#pragma once
/// Inside of Recorder: the queue that callers fill and the thread that empties it.
#include <chrono>
#include <condition_variable>
#include <deque>
#include <mutex>
#include <optional>
#include <set>
#include <thread>

#include "server/record/write/recorder.hpp"
#include "server/record/write/recording_file.hpp"

namespace turnstone {

/// What a caller asks of the recorder's thread, in order.
struct RecorderCommand {
    enum class Kind { batch, begin, meta, flush } kind = Kind::batch;
    std::size_t bytes = 0; ///< counted in status.queue_bytes until committed
    std::shared_ptr<const Batch> batch;
    std::string id, key, value; ///< begin: id; meta: key and value
    RecordingHead head{};
    Schema schema;
    bool made = false;        ///< begin: the file exists
    std::uint64_t ticket = 0; ///< begin, flush
};

struct Recorder::State {
    using Clock = std::chrono::steady_clock;
    using Command = RecorderCommand;

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
    std::deque<Command> work; ///< taken from the queue, not committed yet
    std::size_t applied = 0;  ///< of `work`, in the open transaction
    std::size_t applied_bytes = 0;
    std::uint64_t applied_rows = 0;
    std::optional<RecordingFile> file;
    std::optional<Command> current;               ///< the begin command of the recording under way
    std::vector<std::filesystem::path> to_finish; ///< closed or left behind, not one file yet
    std::optional<Clock::time_point> retry_at;
    Clock::time_point commit_at{}; ///< when the open transaction is due
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

} // namespace turnstone
