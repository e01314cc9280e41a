#pragma once
/// QR codes (ISO/IEC 18004) that lead a phone to this station.
#include <string>
#include <string_view>

namespace turnstone {

/// What others scan: the spectators' view at an address of the server, "http://192.168.1.20:8321/".
[[nodiscard]] std::string join_link(std::string_view address);

/// Error correction level M, with the quiet zone of four modules that the standard asks for. Throws std::length_error
/// for a text that is too long for a code.
[[nodiscard]] std::string qr_svg(std::string_view text);
/// The same for a terminal, two modules in a character, dark on light whatever the terminal's colours are.
[[nodiscard]] std::string qr_terminal(std::string_view text);

} // namespace turnstone
