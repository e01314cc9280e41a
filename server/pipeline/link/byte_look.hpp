#pragma once
/// What bytes look like that hold no frame: text, sentences, another protocol, a line at rest, a wrong baud rate. A pure
/// function of at most kLookBytesMax bytes; any input gives an answer.
#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

#include "shared/words.hpp"

namespace turnstone {

enum class ByteLook : unsigned char {
    too_few,
    one_byte,    ///< one byte over and over; 0x00 and 0xFF: all bits the same
    nmea,        ///< NMEA 0183 sentences (IEC 61162-1): $ or !, a checksum that fits, CR LF
    text,        ///< printable ASCII
    start_bytes, ///< a pair of bytes comes again and again, as at the start of the packets of a binary protocol
    slow_bits,   ///< every bit comes at least twice: the sender is slower than this line is set to
    noise        ///< none of these
};
consteval auto words_of(ByteLook) {
    return words<ByteLook::noise>("too_few", "one_byte", "nmea", "text", "start_bytes", "slow_bits", "noise");
}

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
