#pragma once
#include <filesystem>
#include <optional>
#include <utility>

namespace turnstone {

/// The right to write one recording, held by one writer on the machine: a lock on a hidden file beside it, which the
/// system lets go of when the process ends, however it ends.
class RecordingClaim {
  public:
    /// Empty when another writer holds it. Throws SqliteError where the directory cannot be written to. A file system
    /// without locks lets everybody have it.
    [[nodiscard]] static std::optional<RecordingClaim> take(const std::filesystem::path& recording);
    /// A writer is at this recording.
    [[nodiscard]] static bool is_held(const std::filesystem::path& recording) noexcept;
    RecordingClaim(RecordingClaim&& other) noexcept
        : path_(std::move(other.path_)), descriptor_(std::exchange(other.descriptor_, -1)) {}
    RecordingClaim& operator=(RecordingClaim&& other) noexcept {
        std::swap(path_, other.path_);
        std::swap(descriptor_, other.descriptor_);
        return *this;
    }
    ~RecordingClaim();

  private:
    RecordingClaim(std::filesystem::path path, int descriptor) : path_(std::move(path)), descriptor_(descriptor) {}
    std::filesystem::path path_;
    int descriptor_;
};

} // namespace turnstone
