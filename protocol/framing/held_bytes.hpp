#pragma once
/// The window of a stream that a search goes through: the bytes that have come and are neither framed nor dropped yet,
/// and where they stand in the stream. Bounded, and never allocates once it is made.
#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <span>
#include <vector>

namespace turnstone {

class HeldBytes {
  public:
    explicit HeldBytes(std::size_t bytes_max) : bytes_(bytes_max) {}

    /// Takes as many bytes as there is room for, and says how many.
    std::size_t fill(std::span<const std::byte> bytes) noexcept {
        if (at_ > 0) {
            std::memmove(bytes_.data(), bytes_.data() + at_, size_ - at_);
            first_ += at_;
            size_ -= at_;
            at_ = 0;
        }
        const std::size_t taken = std::min(bytes.size(), bytes_.size() - size_);
        if (taken > 0) std::memcpy(bytes_.data() + size_, bytes.data(), taken);
        size_ += taken;
        return taken;
    }

    /// What is held, valid until the next fill().
    [[nodiscard]] std::span<const std::byte> rest() const noexcept { return {bytes_.data() + at_, size_ - at_}; }
    /// Of the first byte of rest(), counted from the stream's first.
    [[nodiscard]] std::uint64_t offset() const noexcept { return first_ + at_; }
    /// Behind the last.
    [[nodiscard]] std::uint64_t end() const noexcept { return first_ + size_; }

    /// By its place in the stream: offset() <= place < end().
    [[nodiscard]] std::byte operator[](std::uint64_t place) const noexcept {
        return bytes_[static_cast<std::size_t>(place - first_)];
    }
    /// From this place in the stream on: offset() <= place <= end().
    [[nodiscard]] std::span<const std::byte> from(std::uint64_t place) const noexcept {
        const auto at = static_cast<std::size_t>(place - first_);
        return {bytes_.data() + at, size_ - at};
    }

    /// The first `bytes` of rest() are framed or dropped.
    void pass(std::size_t bytes) noexcept { at_ += bytes; }

  private:
    std::vector<std::byte> bytes_;
    std::size_t at_ = 0, size_ = 0; ///< of `bytes_`: where the search is, and its end
    std::uint64_t first_ = 0;       ///< place of bytes_[0] in the stream
};

} // namespace turnstone
