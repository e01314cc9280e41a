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
    enum class Kind : unsigned char { batch, begin, meta, flush } kind = Kind::batch;
    std::size_t bytes = 0; ///< counted in status.queue_bytes until committed
    std::shared_ptr<const Batch> batch = {};
    std::string id = {}, key = {}, value = {}; ///< begin: id; meta: key and value
    RecordingHead head = {};
    Schema schema = {};
    bool begun = false;       ///< begin: the thread has taken it up, its file may still be to make
    std::uint64_t ticket = 0; ///< flush
};

class RecorderQueue {
  public:
    using Clock = std::chrono::steady_clock;

    explicit RecorderQueue(std::size_t bytes_max) : bytes_max_(bytes_max) {}

    // For callers.
    void put(RecorderCommand command);
    /// Takes the whole batch, or the part most worth keeping, or none: see RecorderSettings::queue_bytes_max.
    void put_batch(std::shared_ptr<const Batch> batch);
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
    /// Everything put since the last call. Waits until `until`, or, when `may_wake`, until something is put; a stop
    /// wakes always.
    [[nodiscard]] Taken take(Clock::time_point until, bool may_wake);
    void flushed(std::uint64_t ticket);
    /// Nothing more will be committed: releases whoever waits.
    void let_go();
    template <class Change>
    auto update(Change&& change) {
        const std::lock_guard lock(mutex_);
        return change(status_);
    }

  private:
    const std::size_t bytes_max_;
    mutable std::mutex mutex_;
    std::condition_variable came_, done_;
    std::deque<RecorderCommand> commands_;
    std::uint64_t flush_asked_ = 0, flush_done_ = 0;
    bool stopped_ = false;
    RecorderStatus status_;
};

} // namespace turnstone
