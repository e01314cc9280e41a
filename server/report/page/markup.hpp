#pragma once
/// HTML that is put together so that text cannot become markup: text goes in by text() alone, which escapes it; all
/// else is made of literals of this program and of numbers.
#include <cstddef>
#include <initializer_list>
#include <string>
#include <string_view>
#include <utility>

namespace turnstone::report {

/// A literal of this program.
class Literal {
  public:
    template <std::size_t size>
    consteval Literal(const char (&text)[size]) : text_(text, size - 1) {} // NOLINT(google-explicit-constructor)
    [[nodiscard]] std::string_view view() const noexcept { return text_; }

  private:
    std::string_view text_;
};

class Markup {
  public:
    Markup() = default;
    explicit Markup(Literal html) : html_(html.view()) {}

    /// Escaped; ill-formed UTF-8, control characters and those that turn the direction of writing become U+FFFD.
    [[nodiscard]] static Markup text(std::string_view text);
    /// Of literals and numbers, which the caller vouches for.
    [[nodiscard]] static Markup of_numbers(std::string html);

    Markup& operator+=(const Markup& other) {
        html_ += other.html_;
        return *this;
    }
    friend Markup operator+(Markup left, const Markup& right) { return std::move(left += right); }

    [[nodiscard]] bool empty() const noexcept { return html_.empty(); }
    [[nodiscard]] const std::string& html() const noexcept { return html_; }

  private:
    std::string html_;
};

/// "td" or, with a class, "td.n": an element with that content.
[[nodiscard]] Markup element(Literal name, const Markup& content);
/// The same around text.
[[nodiscard]] Markup element(Literal name, std::string_view text);

[[nodiscard]] Markup joined(std::initializer_list<Markup> parts);

} // namespace turnstone::report
