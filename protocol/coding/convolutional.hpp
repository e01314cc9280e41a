#pragma once
/// The convolutional code of CCSDS 131.0-B, section 3: rate 1/2, constraint length 7, generators 171 and 133 (octal),
/// the second symbol inverted; and its maximum-likelihood decoder (A. Viterbi, IEEE Trans. Information Theory 13(2),
/// 1967).
#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace turnstone {

inline constexpr unsigned kConvolutionalStates = 64;

/// A symbol as received: 0 surely zero, 255 surely one, 127 and 128 unknown.
using SoftSymbol = std::uint8_t;

class ConvolutionalEncoder {
  public:
    /// The two symbols of a bit, the first above the second.
    unsigned symbols(unsigned bit) noexcept;

  private:
    unsigned register_ = 0;
};

/// Bits come out in groups of kBits, kDepth bits behind the newest symbols: by then the survivors have met.
class ViterbiDecoder {
  public:
    static constexpr unsigned kBits = 32;
    static constexpr unsigned kDepth = 64;

    /// From here on, with no state more likely than another.
    void restart() noexcept;

    /// Takes the two symbols of a bit. True: bits() has the next kBits bits.
    bool push(SoftSymbol first, SoftSymbol second) noexcept;
    /// The oldest bit is the highest.
    [[nodiscard]] std::uint32_t bits() const noexcept { return bits_; }

  private:
    void trace_back() noexcept;

    std::array<std::uint16_t, kConvolutionalStates> metrics_{}; ///< of each state, how unlike: less is better
    std::array<std::uint64_t, kDepth + kBits> decisions_{}; ///< bit s: into state s the path with the set oldest bit
    unsigned held_ = 0;                                     ///< of these in use
    std::uint32_t bits_ = 0;
};

} // namespace turnstone
