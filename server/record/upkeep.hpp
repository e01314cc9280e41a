#pragma once
/// Finishes recordings in the background, one after the other: those that a killed process left in the directory, and
/// those that the recorder has closed or left behind. The recorder's own thread never waits for it.
#include <condition_variable>
#include <filesystem>
#include <mutex>
#include <set>
#include <thread>

namespace turnstone {

class Upkeep {
  public:
    /// Looks through the directory at once, on its thread.
    explicit Upkeep(std::filesystem::path directory);
    /// Ends after the recording it is at; a later start does the others.
    ~Upkeep();
    Upkeep(const Upkeep&) = delete;
    Upkeep& operator=(const Upkeep&) = delete;

    /// From any thread; returns at once. A recording in use is tried again and again.
    void finish(const std::filesystem::path& path);

  private:
    void run();

    const std::filesystem::path directory_;
    std::mutex mutex_;
    std::condition_variable wake_;
    std::set<std::filesystem::path> waiting_;
    bool stopping_ = false;
    std::thread thread_; ///< last: it uses all of the above
};

} // namespace turnstone
