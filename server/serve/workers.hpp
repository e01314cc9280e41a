#pragma once
/// A few threads that read recordings, so that no SQLite call and no access to a file ever happens on the serve thread.
/// Each has its own small cache of open readers.
///
/// Jobs wait in lanes. Reads of the live recording go first; reads of others never take the last free thread, and slow
/// lanes have threads of their own, two each. Within a lane clients take turns, so that nobody gets ahead by asking
/// more often.
#include <array>
#include <condition_variable>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <filesystem>
#include <functional>
#include <list>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include "server/record/read/reader.hpp"
#include "server/serve/budgets.hpp"
#include "shared/result.hpp"

namespace turnstone {

/// One worker's open recordings, least recently used last. Reader references hold until the next get().
class ReaderCache {
  public:
    [[nodiscard]] Result<RecordingReader*> get(const std::filesystem::path& path);
    void clear() noexcept { entries_.clear(); }

  private:
    struct Entry {
        std::filesystem::path path;
        RecordingReader reader;
    };
    std::list<Entry> entries_;
};

enum class Lane : unsigned char {
    live,   ///< of the recording under way
    stored, ///< of any other
    slow,   ///< copies and searches that may last for seconds
    jobs    ///< work that may last for minutes
};

class Workers {
  public:
    using Job = std::function<void(ReaderCache&)>;
    /// Of threads that work for minutes: everything else goes first, predictions too, since what they have not flown
    /// when it is needed keeps the live estimates waiting.
    static constexpr int kNicenessOfJobs = 15;

    /// `threads`: for the first two lanes. `budgets` must outlive it.
    Workers(std::size_t threads, Budgets& budgets);
    ~Workers();
    Workers(const Workers&) = delete;
    Workers& operator=(const Workers&) = delete;

    /// Fails when too many jobs wait, for `client` or in all; the sentence is the client's answer.
    [[nodiscard]] Result<void> submit(Lane lane, const Client& client, Job job);
    /// Every worker closes its readers as soon as its present job is done, so that the recorder can close a file
    /// cleanly.
    void release_readers();
    /// Drops waiting jobs, ends after those under way.
    void stop();
    [[nodiscard]] std::size_t waiting() const;

  private:
    struct Entry {
        Job job;
        Lease lease;
    };
    /// The jobs of one client.
    struct Turn {
        std::string client;
        std::deque<Entry> jobs;
    };
    struct Taken {
        Entry entry;
        Lane lane;
    };

    /// Of a thread that serves one lane or, without one, the first two.
    void run(std::optional<Lane> own);
    [[nodiscard]] std::optional<Lane> next_lane(std::optional<Lane> own) const;
    [[nodiscard]] Taken take(Lane lane);
    [[nodiscard]] std::list<Turn>& queue(Lane lane) { return queues_[static_cast<std::size_t>(lane)]; }
    [[nodiscard]] bool has_jobs(Lane lane) const { return !queues_[static_cast<std::size_t>(lane)].empty(); }

    Budgets& budgets_;
    const std::size_t stored_max_; ///< threads that may read what is not live
    mutable std::mutex mutex_;     // guards everything below except the threads themselves
    std::condition_variable wake_;
    std::array<std::list<Turn>, 4> queues_; ///< by lane; the front is next
    std::size_t stored_under_way_ = 0;
    unsigned live_in_a_row_ = 0;
    std::uint64_t release_count_ = 0;
    bool stopping_ = false;
    std::vector<std::thread> threads_;
};

} // namespace turnstone
