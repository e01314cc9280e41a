#pragma once
/// Text in lines of at most `columns` characters, for help and comments.
#include <cstddef>
#include <sstream>
#include <string>
#include <vector>

namespace turnstone {

/// Breaks between words; a longer word has a line of its own. Line ends in `text` stay, and a line that begins with a
/// space (part of a table) stays whole.
[[nodiscard]] inline std::vector<std::string> wrapped(const std::string& text, std::size_t columns) {
    std::vector<std::string> out;
    std::istringstream lines(text);
    for (std::string line; std::getline(lines, line);) {
        out.emplace_back();
        if (line.starts_with(' ')) {
            out.back() = line;
            continue;
        }
        std::istringstream words(line);
        for (std::string word; words >> word;) {
            if (!out.back().empty() && out.back().size() + 1 + word.size() > columns) out.emplace_back();
            out.back() += (out.back().empty() ? "" : " ") + word;
        }
    }
    return out;
}

} // namespace turnstone
