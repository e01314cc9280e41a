#pragma once
/// The live recording as the serve thread knows it, without opening its file. Serve thread only.
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

#include "server/record/read/reader.hpp"
#include "server/serve/live_tape.hpp"
#include "shared/result.hpp"

namespace turnstone {

/// Where a recording is read from.
struct RecordingPlace {
    std::filesystem::path path; ///< empty: the recorder has yet to make the live recording's file
    bool live = false;
};

class LiveRecording {
  public:
    void begin(LiveTape tape);
    /// Data up to this time have been published.
    void grow(std::int64_t newest_ns) noexcept;
    void set_meta(const std::string& key, const std::string& value); ///< key "name" or "notes"

    [[nodiscard]] const std::optional<LiveTape>& tape() const noexcept { return tape_; }
    /// What its file would say; call only with a tape.
    [[nodiscard]] RecordingInfo info(std::uint64_t file_bytes) const;
    /// A new number after every change.
    [[nodiscard]] std::uint64_t revision() const noexcept { return revision_; }
    /// `id` of a recording in `folder`, or "live".
    [[nodiscard]] Result<RecordingPlace> find(const std::filesystem::path& folder, const std::string& id) const;

  private:
    std::optional<LiveTape> tape_;
    std::string notes_;
    std::int64_t newest_ns_ = 0;
    std::uint64_t revision_ = 0;
};

} // namespace turnstone
