#pragma once
/// What bytes look like that hold no frame: text, sentences, another protocol, a line at rest, a wrong baud rate. A
/// pure function of at most kLookBytesMax bytes; any input gives an answer.
#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

#include "server/pipeline/link_trouble.hpp"

namespace turnstone {

struct BytesSeen {
    ByteLook look = ByteLook::too_few;
    std::array<std::uint8_t, 2> bytes{}; ///< of one_byte the first; of start_bytes both
    friend bool operator==(const BytesSeen&, const BytesSeen&) = default;
};

inline constexpr std::size_t kLookBytesMax = 4096;

/// Of the first kLookBytesMax of `bytes`.
[[nodiscard]] BytesSeen look_at(std::span<const std::byte> bytes);

/// Keeps the first kLookBytesMax of what is pushed.
class ByteSample {
  public:
    void push(std::span<const std::byte> bytes) noexcept;
    void clear() noexcept { size_ = 0; }
    [[nodiscard]] std::span<const std::byte> bytes() const noexcept { return {bytes_.data(), size_}; }

  private:
    std::array<std::byte, kLookBytesMax> bytes_{};
    std::size_t size_ = 0;
};

} // namespace turnstone
