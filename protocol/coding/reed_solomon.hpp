#pragma once
/// The Reed-Solomon codes of CCSDS 131.0-B, section 4: (255,223), which corrects 16 symbols of a codeword, and
/// (255,239), which corrects 8. Symbols are bytes; field x^8 + x^7 + x^2 + x + 1 with root alpha; the generator has the
/// roots alpha^(11 j), j from 128 - E to 127 + E. A shortened codeword leaves leading zeros out (virtual fill).
///
/// The standard sends symbols in the dual basis (annex F); many senders use the conventional one, in which the decoder
/// works.
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace turnstone {

inline constexpr std::size_t kCodewordBytes = 255;
inline constexpr std::size_t kParityBytesMax = 32;

void to_dual_basis(std::span<std::byte> symbols) noexcept;
void to_conventional_basis(std::span<std::byte> symbols) noexcept;

class ReedSolomon {
  public:
    /// `correctable`: symbols of a codeword, 16 or 8.
    explicit ReedSolomon(unsigned correctable);

    [[nodiscard]] std::size_t parity_bytes() const noexcept { return 2 * correctable_; }
    [[nodiscard]] unsigned correctable() const noexcept { return correctable_; }

    /// Of 1 to 255 - parity_bytes() symbols; `parity` has parity_bytes() places. Conventional basis.
    void encode(std::span<const std::byte> data, std::span<std::byte> parity) const noexcept;

    /// Corrects a codeword, data and parity, in place; how many symbols were wrong. Empty: more than can be corrected,
    /// and nothing is changed. Conventional basis.
    [[nodiscard]] std::optional<unsigned> correct(std::span<std::byte> codeword) const noexcept;

  private:
    using Remainder = std::array<std::uint8_t, kParityBytesMax>;
    /// Of the data times x^parity modulo the generator.
    void divide(std::span<const std::byte> data, Remainder& remainder) const noexcept;

    unsigned correctable_;
    /// Entry v: v times the generator without its highest term.
    std::vector<Remainder> multiples_;
};

} // namespace turnstone
