#pragma once
/// UI frames of AX.25 v2.2 as a KISS line brings them, without flags and frame check sequence (section 3 there):
///
///     destination, source, up to eight repeaters: seven bytes each | control | protocol | information
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace turnstone {

inline constexpr std::size_t kAx25AddressBytes = 7;
inline constexpr std::size_t kAx25AddressesMost = 10;
/// Addresses, control, protocol.
inline constexpr std::size_t kAx25HeadBytesMax = kAx25AddressBytes * kAx25AddressesMost + 2;
inline constexpr std::size_t kAx25NameMost = 9; ///< characters of "N0CALL-15"
inline constexpr std::uint8_t kNoLayer3 = 0xF0; ///< protocol: the information is for whoever reads it

enum class Ax25Verdict : unsigned char {
    ui,
    other,        ///< another frame than UI
    bad_addresses ///< fewer than two or more than ten, or cut off before the information
};

struct Ax25Frame {
    Ax25Verdict verdict = Ax25Verdict::bad_addresses;
    std::span<const std::byte> addresses;   ///< a multiple of kAx25AddressBytes
    std::uint8_t protocol = 0;              ///< of UI frames
    std::span<const std::byte> information; ///< of UI frames
};
[[nodiscard]] Ax25Frame split_ax25(std::span<const std::byte> frame) noexcept;

/// Writes "N0CALL-11", or "N0CALL" for SSID 0, and returns how many characters, kAx25NameMost at most. What is not
/// printable ASCII becomes "?".
std::size_t write_ax25_name(std::span<const std::byte, kAx25AddressBytes> address, char* out) noexcept;
/// A name as write_ax25_name() has it: capital letters, no SSID 0. Empty: up to six letters or digits and an SSID to 15
/// it is not.
[[nodiscard]] std::optional<std::string> ax25_name(std::string_view text);
/// The repeater of this address has repeated the frame.
[[nodiscard]] bool has_repeated(std::span<const std::byte, kAx25AddressBytes> address) noexcept;

/// For tests and simulators: names as "N0CALL-11", up to six letters or digits and an SSID to 15; a repeater that has
/// repeated the frame as "WIDE1-1*".
[[nodiscard]] std::vector<std::byte> encode_ax25_ui(std::string_view destination, std::string_view source,
                                                    const std::vector<std::string>& repeaters,
                                                    std::string_view information);

} // namespace turnstone
