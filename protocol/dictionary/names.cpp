#include "protocol/dictionary/names.hpp"

#include <algorithm>
#include <array>

#include <nlohmann/json.hpp>

namespace turnstone {
namespace {

constexpr std::size_t kNameSizeMax = 48;

/// Words that cannot be a member name in firmware (C99 to C23, C++20, and macros compilers define without asking), and
/// the columns every table of a recording has.
constexpr auto kReservedNames = std::to_array<std::string_view>({"alignas",       "alignof",
                                                                 "and",           "and_eq",
                                                                 "asm",           "atomic",
                                                                 "auto",          "bitand",
                                                                 "bitor",         "bool",
                                                                 "break",         "case",
                                                                 "catch",         "char",
                                                                 "char16_t",      "char32_t",
                                                                 "char8_t",       "class",
                                                                 "co_await",      "co_return",
                                                                 "co_yield",      "compl",
                                                                 "complex",       "concept",
                                                                 "const",         "const_cast",
                                                                 "consteval",     "constexpr",
                                                                 "constinit",     "continue",
                                                                 "decltype",      "default",
                                                                 "delete",        "do",
                                                                 "double",        "dynamic_cast",
                                                                 "else",          "enum",
                                                                 "errno",         "explicit",
                                                                 "export",        "extern",
                                                                 "false",         "far",
                                                                 "float",         "for",
                                                                 "frame",         "friend",
                                                                 "goto",          "huge",
                                                                 "i386",          "if",
                                                                 "imaginary",     "inline",
                                                                 "int",           "int16_t",
                                                                 "int32_t",       "int64_t",
                                                                 "int8_t",        "interrupt",
                                                                 "linux",         "long",
                                                                 "mutable",       "namespace",
                                                                 "near",          "new",
                                                                 "noexcept",      "noreturn",
                                                                 "not",           "not_eq",
                                                                 "null",          "nullptr",
                                                                 "operator",      "or",
                                                                 "or_eq",         "private",
                                                                 "protected",     "public",
                                                                 "register",      "reinterpret_cast",
                                                                 "requires",      "restrict",
                                                                 "return",        "rowid",
                                                                 "short",         "signed",
                                                                 "size_t",        "sizeof",
                                                                 "static",        "static_assert",
                                                                 "static_cast",   "stderr",
                                                                 "stdin",         "stdout",
                                                                 "struct",        "switch",
                                                                 "t_ns",          "t_rx_ns",
                                                                 "template",      "this",
                                                                 "thread_local",  "throw",
                                                                 "true",          "try",
                                                                 "typedef",       "typeid",
                                                                 "typename",      "typeof",
                                                                 "typeof_unqual", "uint16_t",
                                                                 "uint32_t",      "uint64_t",
                                                                 "uint8_t",       "union",
                                                                 "unix",          "unsigned",
                                                                 "using",         "virtual",
                                                                 "void",          "volatile",
                                                                 "wchar_t",       "while",
                                                                 "xor",           "xor_eq",
                                                                 "arm",           "avr",
                                                                 "mips",          "sparc"});

bool is_name(std::string_view name, bool hyphen) {
    const auto is_letter = [](char c) { return c >= 'a' && c <= 'z'; };
    return !name.empty() && is_letter(name.front()) && std::all_of(name.begin(), name.end(), [&](char c) {
        return is_letter(c) || (c >= '0' && c <= '9') || c == '_' || (hyphen && c == '-');
    });
}

} // namespace

std::string read_name(JsonReader& reader, std::string_view key, bool hyphen) {
    const bool given = reader.has(key) && reader.json().find(std::string(key))->is_string();
    std::string name = reader.text(key);
    if (!given || name.empty()) return name;
    if (!is_name(name, hyphen) || name.size() > kNameSizeMax)
        reader.problem_at(key, "\"" + name.substr(0, 2 * kNameSizeMax) + "\" is not a name",
                          std::string("must begin with a-z and contain only a-z, 0-9, _") + (hyphen ? ", -" : "") +
                              ", at most " + std::to_string(kNameSizeMax) + " characters");
    else if (std::find(kReservedNames.begin(), kReservedNames.end(), name) != kReservedNames.end())
        reader.problem_at(key, "\"" + name + "\" is reserved in C, in C++ or in recordings",
                          "choose another, such as \"" + name + "_value\"");
    return name;
}

bool Uniques::check(JsonReader& reader, std::string_view key, const std::string& name, const std::string& what) {
    if (name.empty()) return true;
    const auto [it, is_new] = first_.emplace(name, reader.pointer());
    if (!is_new)
        reader.problem_at(key, what + " \"" + name + "\" appears twice", "must differ from the one at " + it->second);
    return is_new;
}

} // namespace turnstone
