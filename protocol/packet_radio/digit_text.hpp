#pragma once
/// Numbers in reports: of digits, and of digits of base 91, from ! to { (chapter 9, and what later practice puts into
/// comments).
#include <algorithm>
#include <string_view>

#include "protocol/text/digits.hpp"

namespace turnstone {

constexpr bool are_digits(std::string_view text) noexcept {
    return std::ranges::all_of(text, is_digit);
}
/// Of at most nine digits.
constexpr int number_of(std::string_view digits) noexcept {
    int value = 0;
    for (const char digit : digits) value = 10 * value + (digit - '0');
    return value;
}

inline constexpr unsigned kBase91 = 91;

constexpr bool is_base91(char c) noexcept {
    return c >= '!' && c <= '{';
}
constexpr bool are_base91(std::string_view text) noexcept {
    return std::ranges::all_of(text, is_base91);
}
constexpr unsigned base91(char c) noexcept {
    return static_cast<unsigned>(c - '!');
}
constexpr unsigned base91(std::string_view digits) noexcept {
    unsigned value = 0;
    for (const char digit : digits) value = kBase91 * value + base91(digit);
    return value;
}

} // namespace turnstone
