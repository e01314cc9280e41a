#pragma once
/// The files of recordings as attachments. A closed recording is sent as it is, without a copy. One that is still being
/// written is sent from a copy beside it, for which there must be room: what is being recorded comes first. May be used
/// from any thread.
#include <atomic>
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <mutex>
#include <vector>

#include "server/record/read/reader.hpp"
#include "server/serve/http/answer.hpp"
#include "shared/result.hpp"

namespace turnstone {

class SentFile;

class Downloads {
  public:
    /// `folder`: of the recordings; must outlive it.
    explicit Downloads(const std::filesystem::path& folder) : folder_(folder) {}

    // For workers. `slot` is held until the answer has been sent or dropped.

    /// Empty: the recording has to be copied.
    [[nodiscard]] std::shared_ptr<FileBody> as_it_is(const std::filesystem::path& path, std::shared_ptr<Lease> slot);
    [[nodiscard]] Result<std::shared_ptr<FileBody>> copy(RecordingReader& reader, std::shared_ptr<Lease> slot);
    /// What `make` writes to the path it is given, a file that nobody else sees and that goes with the answer.
    using Make = std::function<Result<void>(const std::filesystem::path&)>;
    [[nodiscard]] Result<std::shared_ptr<FileBody>> made(const Make& make, std::shared_ptr<Lease> slot);
    /// Whether so many bytes may be written beside the recordings now; not while the server shuts down.
    [[nodiscard]] Result<void> has_room(std::uint64_t bytes) const;
    /// Ends the downloads of a file that is about to be changed: it must not change under those who read it.
    void cut(const std::filesystem::path& path);

    /// Copies under way end, and no other is begun.
    void stop() noexcept { stopping_ = true; }

  private:
    [[nodiscard]] Result<std::shared_ptr<SentFile>> open(const std::filesystem::path& path,
                                                         std::shared_ptr<Lease> slot);

    const std::filesystem::path& folder_;
    std::atomic<bool> stopping_ = false;
    std::mutex mutex_; // guards sent_
    std::vector<std::weak_ptr<SentFile>> sent_;
};

/// Whether a file of `bytes` may be made where `available` of `capacity` are free: the smaller of 1 GiB and a tenth of
/// the disk stays free. The sentence says how much is missing.
[[nodiscard]] Result<void> room_for_copy(std::uint64_t bytes, std::uint64_t available, std::uint64_t capacity);

/// Whether a download that has brought `sent` bytes takes its slot away from others for too long.
[[nodiscard]] bool is_too_slow(std::uint64_t sent, std::chrono::steady_clock::duration elapsed) noexcept;

} // namespace turnstone
