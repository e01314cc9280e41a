#pragma once
/// Between the recorder's callers and its thread: requests in order, and the status. Every function locks; none waits
/// for the disk.
#include <chrono>
#include <condition_variable>
#include <cstdint>
#include <deque>
#include <memory>
#include <mutex>
#include <string>

#include "server/record/write/recorder.hpp"
#include "server/record/write/recording_file.hpp"

namespace turnstone {

/// What a caller asks of the recorder's thread.
struct RecorderCommand {
    enum class Kind : unsigned char { inputs, derived, begin, tape_ended, meta, flush } kind = Kind::inputs;
    std::size_t bytes = 0; ///< counted in status.queue_bytes until committed
    std::chrono::steady_clock::time_point came_at = {};
    std::shared_ptr<const Inputs> inputs = {};
    std::shared_ptr<const Batch> batch = {}; ///< derived
    Progress progress = {};                  ///< derived
    std::string id = {};                     ///< of the recording: begin, derived, tape_ended
    std::string key = {}, value = {};        ///< meta
    RecordingHead head = {};
    Schema schema = {};
    std::shared_ptr<RecordingClaim> resumes = {}; ///< begin: the file is there, and ours
    bool begun = false;                           ///< begin: the thread has taken it up, its file may still be to make
    Drops dropped_before = {};                    ///< begin: of the recording before
    std::uint64_t ticket = 0;                     ///< flush
    OwedReceipt receipt = {};                     ///< inputs, begin, meta
};

class RecorderQueue {
  public:
    using Clock = std::chrono::steady_clock;

    explicit RecorderQueue(std::size_t bytes_max) : bytes_max_(bytes_max) {}

    // For callers. What the limit leaves no room for is counted: see RecorderSettings::queue_bytes_max.
    void put(RecorderCommand command); ///< begin, tape_ended or meta
    void put_inputs(std::shared_ptr<const Inputs> inputs, OwedReceipt receipt = {});
    void put_derived(std::shared_ptr<const Batch> batch, const Progress& progress, const std::string& id);
    /// Returns when everything put so far has been committed, or after `timeout`.
    bool flush(std::chrono::milliseconds timeout);
    /// Nothing is put afterwards.
    void stop();
    [[nodiscard]] RecorderStatus status() const;

    // For the recorder's thread.
    struct Taken {
        std::deque<RecorderCommand> commands;
        bool stopped; ///< these are the last
    };
    /// Everything put since the last call. Waits until `until`, or, when `may_wake`, until something is put; a stop, a
    /// begin or a flush wakes always.
    [[nodiscard]] Taken take(Clock::time_point until, bool may_wake);
    void flushed(std::uint64_t ticket);
    /// Nothing more will be committed: releases whoever waits.
    void let_go();
    /// Counts a command that will not be stored; not once the recording is lost, since the next one carries it over.
    void drop(const RecorderCommand& command);
    /// When the oldest input that is not in the file came; the epoch: there is none.
    void set_oldest(Clock::time_point came_at);
    template <class Change>
    auto update(Change&& change) {
        const std::lock_guard lock(mutex_);
        return change(status_);
    }

  private:
    void put_counted(RecorderCommand command, std::size_t limit);
    void count(const Drops& drops) noexcept;

    const std::size_t bytes_max_;
    mutable std::mutex mutex_;
    std::condition_variable came_, done_;
    std::deque<RecorderCommand> commands_;
    std::string begun_id_; ///< last
    std::uint64_t flush_asked_ = 0, flush_done_ = 0;
    bool stopped_ = false;
    bool urgent_ = false; ///< a begin or a flush waits
    Clock::time_point oldest_taken_{};
    RecorderStatus status_; ///< its trouble is found when asked for
};

} // namespace turnstone
