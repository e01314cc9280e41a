#pragma once
/// A file that is written from its beginning to its end, through one buffer.
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <string_view>
#include <vector>

#include "shared/result.hpp"

namespace turnstone::exchange {

class Output {
  public:
    /// Replaces what is there.
    [[nodiscard]] static Result<Output> create(const std::filesystem::path& path);

    void put(std::string_view text);
    /// Room for at least this many bytes, at most kRoomMax; `used` then says where what was written ends.
    [[nodiscard]] char* room(std::size_t bytes);
    void used(const char* end) noexcept { size_ = static_cast<std::size_t>(end - buffer_.data()); }

    /// Handed in so far.
    [[nodiscard]] std::uint64_t bytes() const noexcept { return written_ + size_; }
    /// Something could not be written; what follows is dropped.
    [[nodiscard]] bool failed() const noexcept { return errno_ != 0; }
    /// Writes what is left. The sentence names the file.
    [[nodiscard]] Result<void> finish();

    static constexpr std::size_t kRoomMax = 4096;

  private:
    static constexpr std::size_t kBufferBytes = 256 << 10;
    struct Close {
        void operator()(std::FILE* file) const noexcept { static_cast<void>(std::fclose(file)); }
    };
    Output(const std::filesystem::path& path, std::FILE* file) : path_(path), file_(file), buffer_(kBufferBytes) {}
    void flush();

    std::filesystem::path path_;
    std::unique_ptr<std::FILE, Close> file_;
    std::vector<char> buffer_;
    std::size_t size_ = 0;
    std::uint64_t written_ = 0;
    int errno_ = 0;
};

} // namespace turnstone::exchange
