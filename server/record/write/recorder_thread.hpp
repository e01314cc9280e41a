#pragma once
/// Empties the recorder's queue into recordings, one transaction after the other, and keeps what a transaction held
/// until it is known to be in the file.
#include <array>
#include <chrono>
#include <cstdint>
#include <deque>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <thread>

#include "server/record/write/recorder_queue.hpp"
#include "server/record/write/recording_claim.hpp"
#include "server/record/write/recording_file.hpp"

namespace turnstone {

class RecorderThread {
  public:
    /// `queue` must outlive it.
    RecorderThread(RecorderSettings settings, SetupTexts setup,
                   std::function<void(const std::filesystem::path&)> on_closed, RecorderQueue& queue);
    /// Stops the queue, writes out what is in it and closes the recording.
    ~RecorderThread();
    RecorderThread(const RecorderThread&) = delete;
    RecorderThread& operator=(const RecorderThread&) = delete;

  private:
    using Clock = RecorderQueue::Clock;
    /// Commands that go into transactions of their own, in order.
    struct Lane {
        std::deque<RecorderCommand> waiting;
        Clock::duration interval;
        [[nodiscard]] bool due(Clock::time_point now) const {
            return !waiting.empty() && now >= waiting.front().came_at + interval;
        }
    };
    /// The recording under way; its file may be closed after a fault, or not made yet.
    struct Current {
        std::string id;
        RecordingHead head;
        Schema schema;
        bool made = false;
        std::shared_ptr<RecordingClaim> claim = {};
    };
    /// The first commands of a lane, in one transaction.
    struct Transaction {
        Lane* lane;
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
    void sort_out();
    [[nodiscard]] bool tape_is_over(Clock::time_point begin_came_at);
    void begin(RecorderCommand& command);
    void write_all(Lane& lane);
    void write_some(Lane& lane);
    void append(const RecorderCommand& command, Transaction& transaction);
    void open_current();
    void close_current();
    void leave_behind(const std::string& why);
    void note_drops(const Drops& drops);
    void settle_doubt();
    void committed(const Transaction& transaction);
    void recover(const SqliteError& error);
    void write_one_by_one(Lane& lane);
    void set_fault(const std::string& text);
    void tell_waiting(const std::string& why_not);
    void look_at_file();
    void give_up();
    [[nodiscard]] std::filesystem::path path_of(const std::string& id) const;

    const RecorderSettings settings_;
    const SetupTexts setup_;
    const std::function<void(const std::filesystem::path&)> on_closed_;
    RecorderQueue& queue_;

    std::deque<RecorderCommand> work_; ///< taken from the queue, not sorted out yet: begins with a begin or a flush
    Lane inputs_, derived_;
    Lane* writing_ = nullptr;    ///< whose transaction is open
    Lane* one_by_one_ = nullptr; ///< has something in it that cannot be stored
    std::optional<Doubt> doubt_;
    std::optional<RecordingFile> file_;
    std::optional<Current> current_;
    std::optional<Clock::time_point> retry_at_;
    Clock::time_point look_at_{}; ///< when to look at the file again
    Drops drops_noted_;
    std::thread thread_; ///< last: it uses all of the above
};

} // namespace turnstone
