#include "protocol/text/ucum.hpp"

#include <algorithm>
#include <array>
#include <cstddef>

#include "protocol/text/digits.hpp"

namespace turnstone {
namespace {

/// UCUM tables 2 to 13 and 15, in part: units that take metric prefixes.
constexpr auto kMetricUnits = std::to_array<std::string_view>(
    {"m",  "s", "g",   "rad", "K",  "C",   "cd", "mol", "sr", "Hz", "N",      "Pa",   "J",    "W",    "A",
     "V",  "F", "Ohm", "S",   "Wb", "Cel", "T",  "H",   "lm", "lx", "Bq",     "Gy",   "Sv",   "L",    "l",
     "ar", "t", "bar", "u",   "eV", "G",   "B",  "bit", "By", "Bd", "m[H2O]", "B[V]", "B[W]", "m[Hg]"});

/// Units that take no prefix.
constexpr auto kOtherUnits = std::to_array<std::string_view>(
    {"10*",        "10^",       "[pi]",   "%",      "[ppth]",   "[ppm]",  "[ppb]",   "deg",      "'",       "''",
     "gon",        "circ",      "min",    "h",      "d",        "a",      "wk",      "mo",       "[c]",     "[g]",
     "[in_i]",     "[ft_i]",    "[yd_i]", "[mi_i]", "[nmi_i]",  "[kn_i]", "[sft_i]", "[cft_i]",  "[lb_av]", "[oz_av]",
     "[lbf_av]",   "[degF]",    "[degR]", "[psi]",  "[HP]",     "att",    "atm",     "[gal_us]", "[qt_us]", "[foz_us]",
     "[in_i'H2O]", "[in_i'Hg]", "[Btu]",  "Np",     "[car_Au]", "[e]",    "[m_e]",   "[m_p]",    "[G]"});

constexpr auto kPrefixes =
    std::to_array<std::string_view>({"Y", "Z", "E", "P", "T", "G", "M", "k", "h",  "da", "d",  "c",
                                     "m", "u", "n", "p", "f", "a", "z", "y", "Ki", "Mi", "Gi", "Ti"});

bool is_one_of(const auto& list, std::string_view text) {
    return std::find(list.begin(), list.end(), text) != list.end();
}

bool is_atom(std::string_view text) {
    if (is_one_of(kMetricUnits, text) || is_one_of(kOtherUnits, text)) return true;
    return std::any_of(kPrefixes.begin(), kPrefixes.end(), [&](std::string_view prefix) {
        return text.starts_with(prefix) && is_one_of(kMetricUnits, text.substr(prefix.size()));
    });
}

/// Recursive descent over UCUM's grammar (section 2): main-term, term, component, annotatable.
class Parser {
  public:
    explicit Parser(std::string_view text) : text_(text) {}

    bool whole() {
        if (peek() == '/') ++at_;
        return term(0) && at_ == text_.size();
    }

  private:
    static constexpr unsigned kDepthMax = 8; ///< of parentheses; bounds the recursion, and no real unit has as many

    [[nodiscard]] char peek() const { return at_ < text_.size() ? text_[at_] : '\0'; }

    bool term(unsigned depth) {
        if (depth > kDepthMax || !component(depth)) return false;
        while (peek() == '.' || peek() == '/') {
            ++at_;
            if (!component(depth)) return false;
        }
        return true;
    }

    bool component(unsigned depth) {
        if (peek() == '{') return annotation();
        if (peek() == '(') {
            ++at_;
            if (!term(depth + 1) || peek() != ')') return false;
            ++at_;
            return true;
        }
        return simple_unit() && (peek() != '{' || annotation());
    }

    bool annotation() {
        const std::size_t end = text_.find('}', at_);
        if (end == std::string_view::npos) return false;
        const std::string_view inside = text_.substr(at_ + 1, end - at_ - 1);
        at_ = end + 1;
        return std::all_of(inside.begin(), inside.end(), [](char c) { return c > ' ' && c <= '~' && c != '{'; });
    }

    /// A whole number, or the longest unit code that matches, and its exponent.
    bool simple_unit() {
        if (is_digit(peek()) && !text_.substr(at_).starts_with("10*") && !text_.substr(at_).starts_with("10^")) {
            skip_digits();
            return true;
        }
        std::size_t end = text_.find_first_of("./(){}", at_);
        end = end == std::string_view::npos ? text_.size() : end;
        for (; end > at_; --end) {
            if (!is_atom(text_.substr(at_, end - at_))) continue;
            at_ = end;
            return exponent();
        }
        return false;
    }

    bool exponent() {
        if (peek() == '+' || peek() == '-') {
            ++at_;
            return is_digit(peek()) && skip_digits();
        }
        return skip_digits();
    }

    bool skip_digits() {
        while (is_digit(peek())) ++at_;
        return true;
    }

    std::string_view text_;
    std::size_t at_ = 0;
};

} // namespace

bool is_ucum_unit(std::string_view unit) noexcept {
    return !unit.empty() && Parser(unit).whole();
}

} // namespace turnstone
