// One spelling for each thing: words.txt lists the others.
#include <catch2/catch.hpp>

#include <cctype>
#include <sstream>
#include <string>
#include <string_view>
#include <vector>

#include "tests/repository/tree_files.hpp"

using namespace turnstone::test;

namespace {

struct Word {
    std::string spelling;
    std::string instead;
    std::vector<std::string> unless; ///< longer texts in which the spelling is right
};

std::string trimmed(std::string_view text) {
    const std::size_t begin = text.find_first_not_of(' ');
    return begin == std::string_view::npos ? ""
                                           : std::string(text.substr(begin, text.find_last_not_of(' ') - begin + 1));
}

std::vector<std::string> cells_of(const std::string& line, char between) {
    std::vector<std::string> cells;
    std::istringstream in(line);
    for (std::string cell; std::getline(in, cell, between);) cells.push_back(trimmed(cell));
    return cells;
}

std::vector<Word> banned_words() {
    std::vector<Word> words;
    std::istringstream lines(text_of("tests/repository/words.txt"));
    for (std::string line; std::getline(lines, line);) {
        if (line.empty() || line[0] == '#') continue;
        const auto cells = cells_of(line, '|');
        INFO(line);
        REQUIRE((cells.size() == 2 || cells.size() == 3));
        words.push_back({cells[0], cells[1], cells.size() == 3 ? cells_of(cells[2], ',') : std::vector<std::string>()});
    }
    return words;
}

bool is_letter(char c) {
    return std::isalpha(static_cast<unsigned char>(c)) != 0;
}

/// A text and the line that each of its characters is on.
struct Text {
    std::string characters;
    std::vector<std::size_t> line;

    void add(char c, std::size_t at) {
        characters += c;
        line.push_back(at);
    }
};

/// Lower case, with one space for every run of blanks, line ends, comment marks, hyphens and underscores, and between
/// the words of a name in camel case: so that a spelling is found in prose, in comments that are wrapped and in names.
Text words_of(const std::string& text) {
    Text out;
    std::size_t line = 1;
    bool between = true;
    for (std::size_t i = 0; i < text.size(); ++i) {
        const char c = text[i];
        const bool mark = (c == '/' || c == '*' || c == '#') && between;
        if (std::isspace(static_cast<unsigned char>(c)) != 0 || c == '-' || c == '_' || mark) {
            if (!between) out.add(' ', line);
            between = true;
        } else {
            const bool upper = std::isupper(static_cast<unsigned char>(c)) != 0;
            if (upper && !between && std::islower(static_cast<unsigned char>(text[i - 1])) != 0) out.add(' ', line);
            out.add(static_cast<char>(std::tolower(static_cast<unsigned char>(c))), line);
            between = false;
        }
        if (c == '\n') ++line;
    }
    return out;
}

Text as_written(const std::string& text) {
    Text out;
    std::size_t line = 1;
    for (const char c : text) {
        out.add(c, line);
        if (c == '\n') ++line;
    }
    return out;
}

bool excused(const std::string& text, std::size_t at, const Word& word) {
    for (const std::string& longer : word.unless) {
        const std::size_t within = longer.find(word.spelling);
        if (within != std::string::npos && at >= within && text.compare(at - within, longer.size(), longer) == 0)
            return true;
    }
    return false;
}

/// Lines on which the word is used. A spelling of small letters and spaces is looked for as words, any other exactly.
std::vector<std::size_t> lines_with(const Word& word, const Text& words, const Text& written) {
    const bool as_words = word.spelling.find_first_not_of("abcdefghijklmnopqrstuvwxyz ") == std::string::npos;
    const Text& in = as_words ? words : written;
    std::vector<std::size_t> lines;
    for (std::size_t at = in.characters.find(word.spelling); at != std::string::npos;
         at = in.characters.find(word.spelling, at + 1)) {
        const std::size_t end = at + word.spelling.size();
        if (as_words && ((at > 0 && is_letter(in.characters[at - 1])) ||
                         (end < in.characters.size() && is_letter(in.characters[end]))))
            continue;
        if (!excused(in.characters, at, word)) lines.push_back(in.line[at]);
    }
    return lines;
}

std::vector<std::size_t> lines_with(const Word& word, const std::string& text) {
    return lines_with(word, words_of(text), as_written(text));
}

/// Not the project's own text: reference values and recordings as they were found, pinned packages, and the list
/// itself.
bool exempt(const std::string& path) {
    for (const char* start : {"tests/reference/", "tests/fuzz/corpus/", "tests/golden/recording",
                              "web/package-lock.json", "tests/repository/words.txt", "tests/repository/test_words.cpp"})
        if (path.rfind(start, 0) == 0) return true;
    return false;
}

} // namespace

TEST_CASE("a banned spelling is found in prose, in wrapped comments and in names, and in no other word") {
    const Word word{"lift off", "liftoff", {}};
    CHECK(lines_with(word, "one\nLift-off at 3 s") == std::vector<std::size_t>{2});
    CHECK(lines_with(word, "/// after lift\n/// off") == std::vector<std::size_t>{1});
    CHECK(lines_with(word, "kLiftOff_s = lift_off_s") == std::vector<std::size_t>{1, 1});
    CHECK(lines_with(word, "liftoff, a lift offer").empty());
    const Word exact{"udp:", "udp://", {"udp://", "udp::"}};
    CHECK(lines_with(exact, "udp:9000 udp://0.0.0.0:9000 ip::udp::socket").size() == 1);
    CHECK(lines_with({"is no", "is not a", {"there is no"}}, "There is no file; this is no file").size() == 1);
}

TEST_CASE("each thing has one spelling", "[.words]") {
    const std::vector<Word> words = banned_words();
    std::vector<std::string> paths = {"README.md", "DEVELOPERS.md", "CMakeLists.txt"};
    for (const std::string& folder : kTopFolders)
        for (const std::string& path : files_below(folder, {}))
            if (!exempt(path)) paths.push_back(path);
    REQUIRE(paths.size() > 300);
    std::ostringstream found;
    std::size_t count = 0;
    for (const std::string& path : paths) {
        const std::string text = text_of(path);
        const Text as_words = words_of(text);
        const Text written = as_written(text);
        for (const Word& word : words)
            for (const std::size_t line : lines_with(word, as_words, written)) {
                found << path << ":" << line << ": \"" << word.spelling << "\"; say: " << word.instead << "\n";
                ++count;
            }
    }
    INFO(count << " places\n" << found.str());
    CHECK(count == 0);
}
