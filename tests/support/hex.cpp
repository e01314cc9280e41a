#include "tests/support/hex.hpp"

#include <cctype>
#include <stdexcept>

namespace turnstone::test {

std::vector<std::byte> from_hex(std::string_view digits) {
    std::vector<std::byte> bytes;
    int high = -1;
    for (const char c : digits) {
        if (std::isspace(static_cast<unsigned char>(c)) != 0) continue;
        const auto digit =
            std::string_view("0123456789ABCDEF").find(static_cast<char>(std::toupper(static_cast<unsigned char>(c))));
        if (digit == std::string_view::npos) throw std::runtime_error("not a hexadecimal digit: " + std::string(1, c));
        if (high < 0) {
            high = static_cast<int>(digit);
        } else {
            bytes.push_back(static_cast<std::byte>(high * 16 + static_cast<int>(digit)));
            high = -1;
        }
    }
    if (high >= 0) throw std::runtime_error("odd number of hexadecimal digits");
    return bytes;
}

std::string to_hex(std::span<const std::byte> bytes) {
    std::string digits;
    for (const std::byte byte : bytes)
        for (const int shift : {4, 0}) digits += "0123456789ABCDEF"[std::to_integer<unsigned>(byte) >> shift & 0xFU];
    return digits;
}

std::string text_from_hex(std::string_view digits) {
    std::string text;
    for (const std::byte byte : from_hex(digits)) text += static_cast<char>(byte);
    return text;
}

} // namespace turnstone::test
