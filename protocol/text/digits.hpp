#pragma once

namespace turnstone {

/// 0 to 9, whatever the language of the computer is.
constexpr bool is_digit(char c) noexcept {
    return c >= '0' && c <= '9';
}

} // namespace turnstone
