#pragma once
/// A few threads that read recordings, so that no SQLite call ever runs on the serve thread. Each has its own small
/// cache of open readers.
#include <condition_variable>
#include <cstdint>
#include <deque>
#include <filesystem>
#include <functional>
#include <list>
#include <mutex>
#include <string_view>
#include <thread>
#include <vector>

#include "server/record/read/reader.hpp"
#include "shared/result.hpp"

namespace turnstone {

/// The answer to a job that found no room.
inline constexpr std::string_view kBusy = "the server is busy reading recordings; try again in a moment";

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

class Workers {
  public:
    using Job = std::function<void(ReaderCache&)>;

    explicit Workers(std::size_t threads);
    ~Workers();
    Workers(const Workers&) = delete;
    Workers& operator=(const Workers&) = delete;

    /// False when too many jobs wait already: the caller answers kBusy.
    [[nodiscard]] bool submit(Job job);
    /// Every worker closes its readers as soon as its present job is done, so that the recorder can close a file
    /// cleanly.
    void release_readers();
    /// Drops waiting jobs, ends after those under way.
    void stop();
    [[nodiscard]] std::size_t waiting() const;

  private:
    void run();

    mutable std::mutex mutex_; // guards everything below except the threads themselves
    std::condition_variable wake_;
    std::deque<Job> jobs_;
    std::uint64_t release_count_ = 0;
    bool stopping_ = false;
    std::vector<std::thread> threads_;
};

} // namespace turnstone
