#pragma once
/// The words of an enumeration, written once beside it and found by argument-dependent look-up:
///
///     enum class Level : unsigned char { note, advisory };
///     consteval auto words_of(Level) { return words<Level::advisory>("note", "advisory"); }
///
/// C++, SQL and the stream's description all take them from there.
#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>

namespace turnstone {

/// One word for each enumerator from 0 to `last`, in order. Any other number of words does not compile.
template <auto last, class... Word>
consteval auto words(Word... word) {
    static_assert(sizeof...(word) == static_cast<std::size_t>(last) + 1, "give each enumerator one word");
    return std::array<std::string_view, sizeof...(word)>{word...};
}

/// An enumerator beside its word, where a list is long.
template <class Enum>
struct Worded {
    Enum value;
    std::string_view word;
};

/// The words of a table whose rows have an enumerator and a word. A row that is missing or out of order does not
/// compile.
template <auto last, class Row, std::size_t count>
consteval auto words_in(const Row (&rows)[count], std::string_view Row::*word = &Row::word) {
    static_assert(count == static_cast<std::size_t>(last) + 1, "give each enumerator one row");
    std::array<std::string_view, count> out;
    for (std::size_t i = 0; i < count; ++i) {
        if (static_cast<std::size_t>(rows[i].value) != i) throw "rows are not in the order of the enumerators";
        out[i] = rows[i].*word;
    }
    return out;
}

template <class Enum>
concept HasWords = requires {
    words_of(Enum{});
};

template <HasWords Enum>
inline constexpr auto kWords = words_of(Enum{});

/// "?" for a value that is not an enumerator (a damaged file holds any).
template <HasWords Enum>
[[nodiscard]] constexpr std::string_view word(Enum value) noexcept {
    const auto index = static_cast<std::size_t>(value);
    return index < kWords<Enum>.size() ? kWords<Enum>[index] : "?";
}

template <HasWords Enum>
[[nodiscard]] constexpr std::optional<Enum> from_word(std::string_view text) noexcept {
    const auto found = std::ranges::find(kWords<Enum>, text);
    if (found == kWords<Enum>.end()) return std::nullopt;
    return static_cast<Enum>(found - kWords<Enum>.begin());
}

/// The enumerator nearest to a stored number.
template <HasWords Enum>
[[nodiscard]] constexpr Enum from_number(std::int64_t number) noexcept {
    constexpr auto kLast = static_cast<std::int64_t>(kWords<Enum>.size()) - 1;
    return static_cast<Enum>(std::clamp<std::int64_t>(number, 0, kLast));
}

/// Value to word, as a column carries it.
using Enumeration = std::map<std::int64_t, std::string>;

template <HasWords Enum>
[[nodiscard]] Enumeration enumeration() {
    Enumeration out;
    for (std::size_t i = 0; i < kWords<Enum>.size(); ++i) out.emplace(static_cast<std::int64_t>(i), kWords<Enum>[i]);
    return out;
}

} // namespace turnstone
