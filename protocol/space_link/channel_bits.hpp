#pragma once
/// Bytes of a link to the bits of a telemetry stream: as they are, or through the decoder of the convolutional code.
/// Bits are counted from the stream's start; the bytes that they come from are kept, so that each bit has its place
/// there.
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "protocol/coding/convolutional.hpp"
#include "protocol/coding/tm_format.hpp"
#include "protocol/framing/held_bytes.hpp"

namespace turnstone {

inline constexpr unsigned kConvolutionalMemory = 6; ///< bits before one that its symbols tell of
inline constexpr unsigned kMarkerSymbols = 2 * (kMarkerBits - kConvolutionalMemory);

class ChannelBits {
  public:
    /// Holds `bits_max` bits and more.
    ChannelBits(ChannelSymbols symbols, std::size_t bits_max);

    /// Takes as many bytes as there is room for.
    std::size_t take(std::span<const std::byte> bytes) noexcept { return link_.fill(bytes); }
    /// Decodes what was taken as far as there is room; false: nothing.
    bool make_bits() noexcept;

    [[nodiscard]] std::uint64_t begin() const noexcept { return first_bit_; }
    [[nodiscard]] std::uint64_t end() const noexcept { return end_bit_; }
    /// 32 bits from `bit` on, the first the highest. begin() <= bit <= end() - 32.
    [[nodiscard]] std::uint32_t word(std::uint64_t bit) const noexcept;
    /// The first bit in [from, to) where the word differs from `marker`, or from its inverse, in at most `errors_most`
    /// places; `to` if there is none. to <= end() - 31.
    [[nodiscard]] std::uint64_t find(std::uint32_t marker, unsigned errors_most, std::uint64_t from,
                                     std::uint64_t to) const noexcept;
    void copy(std::uint64_t bit, std::span<std::byte> out) const noexcept;
    /// The same where they are, until forget(); empty: they do not begin with a byte.
    [[nodiscard]] std::span<const std::byte> view(std::uint64_t bit, std::size_t bytes) const noexcept;
    /// The symbols from `bit` on, an octet each, as SoftSymbol; only where is_coded(), and of bytes that are kept.
    void copy_symbols(std::uint64_t bit, std::span<std::byte> out) const noexcept;

    /// The byte of the link in which what makes `bit` begins.
    [[nodiscard]] std::uint64_t link_byte(std::uint64_t bit) const noexcept;
    /// The first bit that begins in this byte of the link or behind it.
    [[nodiscard]] std::uint64_t first_bit_of(std::uint64_t link_byte) const noexcept;
    /// Bytes of the link from here on, as received.
    [[nodiscard]] std::span<const std::byte> link_from(std::uint64_t link_byte) const noexcept {
        return link_.from(link_byte);
    }

    /// Makes room: bits before `bit`, and bytes of the link before `link_byte`, are asked for no more.
    void forget(std::uint64_t bit, std::uint64_t link_byte) noexcept;

    /// Symbols were paired wrongly: from `bit` on each bit is taken one symbol later.
    void shift_pairs(std::uint64_t bit) noexcept;
    [[nodiscard]] bool is_coded() const noexcept { return symbols_ != ChannelSymbols::bits; }
    /// How many of kMarkerSymbols symbols are not those of a marker that begins at `bit`: those of its last bits, which
    /// no bit before it changes. Only where is_coded().
    [[nodiscard]] unsigned marker_symbol_errors(std::uint64_t bit) const noexcept;
    /// How many symbols of the bits [from, to) are not what those bits make when they are encoded again.
    [[nodiscard]] std::uint64_t symbol_errors(std::uint64_t from, std::uint64_t to) const noexcept;

  private:
    [[nodiscard]] std::uint64_t symbol_of(std::uint64_t bit) const noexcept { return 2 * bit + shift_; }
    [[nodiscard]] std::uint64_t symbols_end() const noexcept;
    [[nodiscard]] SoftSymbol symbol(std::uint64_t index) const noexcept;

    ChannelSymbols symbols_;
    ViterbiDecoder decoder_;
    HeldBytes link_;
    std::vector<std::byte> bits_; ///< eight bytes more than are used, for reading words
    std::uint64_t first_bit_ = 0, end_bit_ = 0;
    std::uint64_t shift_ = 0;       ///< symbols left out so far
    std::uint64_t next_symbol_ = 0; ///< for the decoder; uncoded: the next byte
};

} // namespace turnstone
