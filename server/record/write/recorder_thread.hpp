#pragma once
/// Empties the recorder's queue into recordings, one transaction after the other, and keeps what a transaction held
/// until it is known to be in the file.
#include <chrono>
#include <cstdint>
#include <deque>
#include <filesystem>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include "server/record/write/recorder_queue.hpp"
#include "server/record/write/recording_file.hpp"
#include "server/record/write/recording_ids.hpp"

namespace turnstone {

class RecorderThread {
  public:
    /// `ids` and `queue` must outlive it.
    RecorderThread(RecorderSettings settings, SetupTexts setup, RecordingIds& ids, RecorderQueue& queue);
    /// Stops the queue, writes out what is in it and closes the recording.
    ~RecorderThread();
    RecorderThread(const RecorderThread&) = delete;
    RecorderThread& operator=(const RecorderThread&) = delete;

  private:
    using Clock = RecorderQueue::Clock;
    /// The recording under way; its file may be closed after a fault, or not made yet.
    struct Current {
        std::string id;
        RecordingHead head;
        Schema schema;
        bool made = false;
    };
    /// What the open transaction holds: the first commands of `work_`.
    struct Transaction {
        std::size_t commands = 0;
        std::size_t bytes = 0;
        std::uint64_t rows = 0;
    };
    /// A commit that failed, or seemed to: opening the file again shows whether it got through.
    struct Doubt {
        Transaction transaction;
        std::uint64_t entries; ///< in the file, if it did
    };

    void run();
    bool take_work();
    void do_work(bool last);
    void apply(RecorderCommand& command);
    void open_current();
    void close_current();
    void commit();
    void settle_doubt();
    void committed(const Transaction& transaction);
    void recover(const SqliteError& error);
    void drop_command(std::size_t index, const std::string& why);
    void set_fault(const std::string& text);
    void look_after_files();
    void give_up();
    [[nodiscard]] std::filesystem::path path_of(const std::string& id) const;

    const RecorderSettings settings_;
    const SetupTexts setup_;
    RecordingIds& ids_;
    RecorderQueue& queue_;

    std::deque<RecorderCommand> work_; ///< taken from the queue, not known to be in the file
    Transaction transaction_;
    std::optional<Doubt> doubt_;
    std::optional<RecordingFile> file_;
    std::optional<Current> current_;
    std::vector<std::filesystem::path> to_finish_; ///< closed or left behind, not one file yet
    std::optional<Clock::time_point> retry_at_;
    Clock::time_point commit_at_{};                                      ///< when the open transaction is due
    Clock::time_point look_at_{};                                        ///< when to check the files again
    std::uint64_t batches_dropped_before_ = 0, rows_dropped_before_ = 0; ///< in the recordings before this one
    std::uint64_t drops_noted_ = 0;
    std::thread thread_; ///< last: it uses all of the above
};

} // namespace turnstone
