#pragma once
/// The log book: every flight in a folder of recordings, newest first. What a recording gave is kept, here and in a
/// small file beside the recordings, until the recording changes; hundreds are listed without opening one. For workers;
/// may be used from any thread, and none waits for another's reading.
#include <atomic>
#include <chrono>
#include <cstdint>
#include <filesystem>
#include <map>
#include <mutex>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "server/record/format/file_stamp.hpp"

namespace turnstone::debrief {

class LogBook {
  public:
    using Clock = std::chrono::steady_clock;
    /// What it keeps of a folder stands there under this name.
    static constexpr const char* kFile = ".flights.json";
    /// What the recording under way gave holds for that long.
    static constexpr std::chrono::seconds kLiveHolds{5};

    explicit LogBook(std::filesystem::path folder) : folder_(std::move(folder)) {}

    /// The members "flights", "recordings_without" and "unread" of GET /api/flights (STREAM.md), as far as they are
    /// known. `live_id`: of the recording under way; empty: none.
    [[nodiscard]] nlohmann::json list(const std::string& live_id);
    /// Reads one recording that has to be read. False: none is left, or the server ends.
    bool read_one(const std::string& live_id);
    /// True for the one who is to read them all, until they say that it is done.
    [[nodiscard]] bool begin_reading() noexcept { return !reading_.exchange(true); }
    void end_reading() noexcept { reading_ = false; }
    /// How often a recording was read since the start.
    [[nodiscard]] std::uint64_t reads() const noexcept { return reads_; }
    /// No other recording is read.
    void stop() noexcept { stopping_ = true; }

  private:
    /// Of one recording.
    struct Known {
        FileStamp stamp;
        nlohmann::json about;   ///< a member of "recordings_without", without "live"
        nlohmann::json flights; ///< members of "flights", without "live"
        Clock::time_point read_at = {};
    };

    [[nodiscard]] bool holds(const Known& known, const std::filesystem::path& path, bool live) const;
    /// Empty: none. It is marked as being read.
    [[nodiscard]] std::optional<std::filesystem::path> take_unread(const std::string& live_id);
    void load();
    void save();

    const std::filesystem::path folder_;
    std::atomic<bool> stopping_ = false;
    std::atomic<bool> reading_ = false;
    std::atomic<std::uint64_t> reads_ = 0;
    std::mutex mutex_; // guards the rest, and is not held while a recording is read
    bool loaded_ = false;
    bool changed_ = false;               ///< since the file was written
    std::map<std::string, Known> known_; ///< by id
    std::set<std::string> being_read_;   ///< ids
};

} // namespace turnstone::debrief
