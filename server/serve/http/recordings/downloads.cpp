#include "server/serve/http/recordings/downloads.hpp"

#include <algorithm>
#include <fstream>
#include <optional>
#include <string>
#include <system_error>
#include <utility>

#include <fmt/format.h>

#include "server/record/format/database_files.hpp"
#include "server/record/read/recording_bytes.hpp"
#include "server/serve/random_key.hpp"

namespace turnstone {

/// A file being sent, with its slot.
class SentFile final : public FileBody {
  public:
    SentFile(std::filesystem::path path, RecordingBytes bytes, std::shared_ptr<Lease> slot)
        : path_(std::move(path)), size_(bytes.size()), bytes_(std::move(bytes)), slot_(std::move(slot)) {}
    [[nodiscard]] std::uint64_t size() const override { return size_; }
    [[nodiscard]] bool read(std::uint64_t offset, std::span<char> into) override {
        const std::lock_guard lock(mutex_);
        return bytes_ && bytes_->read(offset, into);
    }
    [[nodiscard]] const std::filesystem::path& path() const noexcept { return path_; }
    void cut() {
        const std::lock_guard lock(mutex_);
        bytes_.reset();
    }

  private:
    const std::filesystem::path path_;
    const std::uint64_t size_;
    std::mutex mutex_; // guards bytes_
    std::optional<RecordingBytes> bytes_;
    std::shared_ptr<Lease> slot_;
};

namespace {

/// A file that SQLite has not opened: its descriptor takes no locks with it.
class MadeFile final : public FileBody {
  public:
    MadeFile(const std::filesystem::path& path, std::shared_ptr<Lease> slot)
        : file_(path, std::ios::binary | std::ios::ate), slot_(std::move(slot)) {
        if (file_) size_ = static_cast<std::uint64_t>(file_.tellg());
    }
    [[nodiscard]] bool is_open() const { return file_.is_open(); }
    [[nodiscard]] std::uint64_t size() const override { return size_; }
    [[nodiscard]] bool read(std::uint64_t offset, std::span<char> into) override {
        file_.seekg(static_cast<std::streamoff>(offset));
        return static_cast<bool>(file_.read(into.data(), static_cast<std::streamsize>(into.size())));
    }

  private:
    std::ifstream file_;
    std::uint64_t size_ = 0;
    std::shared_ptr<Lease> slot_;
};

constexpr std::uint64_t kReserveMax = 1u << 30;
constexpr std::chrono::seconds kGrace{30};
constexpr double kBytesPerSecondMin = 64 << 10;

/// A copy while it is made, and everything SQLite may leave beside it.
class CopyFile {
  public:
    explicit CopyFile(std::filesystem::path path) : path_(std::move(path)) {}
    ~CopyFile() { remove_database(path_); }
    CopyFile(const CopyFile&) = delete;
    CopyFile& operator=(const CopyFile&) = delete;
    [[nodiscard]] const std::filesystem::path& path() const noexcept { return path_; }

  private:
    std::filesystem::path path_;
};

} // namespace

Result<std::shared_ptr<SentFile>> Downloads::open(const std::filesystem::path& path, std::shared_ptr<Lease> slot) {
    auto bytes = RecordingBytes::open(path);
    if (!bytes) return tl::unexpected(bytes.error());
    auto sent = std::make_shared<SentFile>(path, std::move(*bytes), std::move(slot));
    const std::lock_guard lock(mutex_);
    std::erase_if(sent_, [](const auto& other) { return other.expired(); });
    sent_.push_back(sent);
    return sent;
}

std::shared_ptr<FileBody> Downloads::as_it_is(const std::filesystem::path& path, std::shared_ptr<Lease> slot) {
    return open(path, std::move(slot)).value_or(nullptr);
}

Result<void> Downloads::has_room(std::uint64_t bytes) const {
    if (stopping_) return fail("the server is shutting down");
    std::error_code error;
    const std::filesystem::space_info space = std::filesystem::space(folder_, error);
    if (error) return fail("the free space of the disk cannot be told: " + error.message());
    return room_for_copy(bytes, space.available, space.capacity);
}

Result<std::shared_ptr<FileBody>> Downloads::copy(RecordingReader& reader, std::shared_ptr<Lease> slot) {
    std::error_code ignored; // no write-ahead file is none to copy
    const std::filesystem::path path = reader.info().path;
    const std::uint64_t file = std::filesystem::file_size(path, ignored);
    const auto wal = std::filesystem::file_size(path.string() + "-wal", ignored);
    if (const auto allowed = has_room(file + (ignored ? 0 : wal)); !allowed) return tl::unexpected(allowed.error());
    const CopyFile made(folder_ / fmt::format(".copy-{}", random_key()));
    const auto may_go_on = [this](std::uint64_t rest) { return has_room(rest); };
    if (const auto written = reader.snapshot(made.path(), may_go_on); !written) return tl::unexpected(written.error());
    // The copy loses its name at the end of this function, and its space with the answer.
    auto sent = open(made.path(), std::move(slot));
    if (!sent) return tl::unexpected(sent.error());
    return std::move(*sent);
}

Result<std::shared_ptr<FileBody>> Downloads::made(const Make& make, std::shared_ptr<Lease> slot) {
    const CopyFile file(folder_ / fmt::format(".copy-{}", random_key()));
    if (const auto written = make(file.path()); !written) return tl::unexpected(written.error());
    auto sent = std::make_shared<MadeFile>(file.path(), std::move(slot));
    if (!sent->is_open()) return fail(file.path().string() + ": what was written cannot be read");
    return sent;
}

void Downloads::cut(const std::filesystem::path& path) {
    const std::lock_guard lock(mutex_);
    for (const auto& weak : sent_)
        if (const auto sent = weak.lock(); sent && sent->path() == path) sent->cut();
}

Result<void> room_for_copy(std::uint64_t bytes, std::uint64_t available, std::uint64_t capacity) {
    constexpr double kMega = 1e6;
    const std::uint64_t reserve = std::min(kReserveMax, capacity / 10);
    if (available >= reserve && available - reserve >= bytes) return {};
    return fail(fmt::format("a copy of this recording needs {:.1f} MB, the disk has {:.1f} MB free, and {:.1f} MB stay "
                            "free for what is being recorded; free some space, or download it when it has ended",
                            static_cast<double>(bytes) / kMega, static_cast<double>(available) / kMega,
                            static_cast<double>(reserve) / kMega));
}

bool is_too_slow(std::uint64_t sent, std::chrono::steady_clock::duration elapsed) noexcept {
    const double counted_s = std::chrono::duration<double>(elapsed - kGrace).count();
    return static_cast<double>(sent) < counted_s * kBytesPerSecondMin;
}

} // namespace turnstone
