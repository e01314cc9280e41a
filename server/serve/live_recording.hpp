#pragma once
/// The live recording as the serve thread knows it, without opening its file. Serve thread only.
#include <cstdint>
#include <filesystem>
#include <optional>
#include <set>
#include <string>
#include <string_view>

#include "server/record/read/reader.hpp"
#include "server/serve/desk/under_way.hpp"
#include "server/serve/live_tape.hpp"
#include "shared/result.hpp"

namespace turnstone {

/// A recording that was asked for; whether it has a file is for a worker to find out.
struct RecordingPlace {
    std::string id;
    bool live = false;
};

/// For workers: looks into the file system.
[[nodiscard]] Result<std::filesystem::path> path_of(const std::filesystem::path& folder, const RecordingPlace& place);

class LiveRecording {
  public:
    void begin(LiveTape tape);
    /// Data up to this time have been published.
    void grow(std::int64_t newest_ns) noexcept;
    /// An event of the tape.
    void see(const Event& event);
    /// Some could not be seen: what is not known may be there all the same.
    void miss_events() noexcept { missed_ = true; }
    void set_meta(const std::string& key, const std::string& value); ///< key "name" or "notes"

    [[nodiscard]] const std::optional<LiveTape>& tape() const noexcept { return tape_; }
    /// What its file would say; call only with a tape.
    [[nodiscard]] RecordingInfo info(std::uint64_t file_bytes) const;
    /// A new number after every change.
    [[nodiscard]] std::uint64_t revision() const noexcept { return revision_; }
    /// `id` of a recording, or "live".
    [[nodiscard]] Result<RecordingPlace> find(const std::string& id) const;
    /// Whether there may be a marker or a note with this key; an alert that was ever raised.
    [[nodiscard]] bool has_mark(const std::string& key) const { return missed_ || marks_.contains(key); }
    [[nodiscard]] bool has_alert(const std::string& key) const { return missed_ || alerts_.contains(key); }
    [[nodiscard]] UnderWay& under_way() noexcept { return under_way_; }
    [[nodiscard]] bool missed_events() const noexcept { return missed_; }

  private:
    std::optional<LiveTape> tape_;
    std::string notes_;
    std::int64_t newest_ns_ = 0;
    std::uint64_t revision_ = 0;
    std::set<std::string> marks_, alerts_; ///< keys
    UnderWay under_way_;
    bool missed_ = false;
};

} // namespace turnstone
