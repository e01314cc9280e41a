// One spelling for each thing: words.txt lists the others, words_kept.txt the places where one of them stays.
#include <catch2/catch.hpp>

#include <algorithm>
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
    std::vector<std::string> unless = {}; ///< longer texts in which the spelling is right
    std::vector<std::string> where = {};  ///< folders and endings of files it is looked for in; empty: everywhere
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

/// The lines of a table whose cells have bars between; lines that begin with # are comments.
std::vector<std::vector<std::string>> rows_of(const std::string& path) {
    std::vector<std::vector<std::string>> rows;
    std::istringstream lines(text_of(path));
    for (std::string line; std::getline(lines, line);)
        if (!line.empty() && line[0] != '#') rows.push_back(cells_of(line, '|'));
    return rows;
}

std::vector<Word> banned_words() {
    std::vector<Word> words;
    for (const auto& cells : rows_of("tests/repository/words.txt")) {
        INFO(cells.front());
        REQUIRE(cells.size() >= 2);
        REQUIRE(cells.size() <= 4);
        words.push_back({cells[0], cells[1]});
        if (cells.size() > 2) words.back().unless = cells_of(cells[2], ',');
        if (cells.size() > 3) words.back().where = cells_of(cells[3], ',');
    }
    return words;
}

/// A text of one file in which a banned spelling stays.
struct Kept {
    std::string path;
    std::string text;
    bool used = false;
};

std::vector<Kept> kept_texts() {
    std::vector<Kept> kept;
    for (const auto& cells : rows_of("tests/repository/words_kept.txt")) {
        INFO(cells.front());
        REQUIRE(cells.size() == 3);
        REQUIRE(!cells[2].empty());
        kept.push_back({cells[0], cells[1]});
    }
    return kept;
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

/// Whether the spelling found at `at` is part of `longer`.
bool part_of(const std::string& longer, const std::string& spelling, const std::string& text, std::size_t at) {
    for (std::size_t within = longer.find(spelling); within != std::string::npos;
         within = longer.find(spelling, within + 1))
        if (at >= within && text.compare(at - within, longer.size(), longer) == 0) return true;
    return false;
}

/// Lines on which the word is used. A spelling of small letters and spaces is looked for as words, any other exactly.
/// Marks those of `kept` that excuse one.
std::vector<std::size_t> lines_with(const Word& word, const Text& words, const Text& written,
                                    const std::vector<Kept*>& kept) {
    const bool as_words = word.spelling.find_first_not_of("abcdefghijklmnopqrstuvwxyz ") == std::string::npos;
    const Text& in = as_words ? words : written;
    const auto excused = [&](std::size_t at) {
        for (Kept* keep : kept) {
            const std::string text = as_words ? words_of(keep->text).characters : keep->text;
            if (!part_of(text, word.spelling, in.characters, at)) continue;
            keep->used = true;
            return true;
        }
        return std::ranges::any_of(
            word.unless, [&](const std::string& longer) { return part_of(longer, word.spelling, in.characters, at); });
    };
    std::vector<std::size_t> lines;
    for (std::size_t at = in.characters.find(word.spelling); at != std::string::npos;
         at = in.characters.find(word.spelling, at + 1)) {
        const std::size_t end = at + word.spelling.size();
        if (as_words && ((at > 0 && is_letter(in.characters[at - 1])) ||
                         (end < in.characters.size() && is_letter(in.characters[end]))))
            continue;
        if (!excused(at)) lines.push_back(in.line[at]);
    }
    return lines;
}

std::vector<std::size_t> lines_with(const Word& word, const std::string& text, const std::vector<Kept*>& kept = {}) {
    return lines_with(word, words_of(text), as_written(text), kept);
}

bool looked_for_in(const Word& word, const std::string& path) {
    return word.where.empty() || std::ranges::any_of(
                                     word.where,
                                     [&](const std::string& part) {
                                         return part.front() == '.' ? path.ends_with(part) : path.starts_with(part);
                                     });
}

/// Not the project's own text: reference values and recordings as they were found, pinned packages, and the lists
/// themselves.
bool exempt(const std::string& path) {
    for (const char* start :
         {"tests/reference/", "tests/fuzz/corpus/", "tests/golden/recording", "web/package-lock.json",
          "tests/repository/words.txt", "tests/repository/words_kept.txt", "tests/repository/test_words.cpp"})
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

TEST_CASE("a text that is kept excuses a banned spelling within it and nowhere else") {
    const Word word{"lift off", "liftoff", {}};
    Kept kept{"", "at(\"lift_off_s\")"};
    CHECK(lines_with(word, "liftoff_s", {&kept}).empty());
    CHECK_FALSE(kept.used);
    CHECK(lines_with(word, "at(\"lift_off_s\")\nlift_off_s\nLift-off", {&kept}) == std::vector<std::size_t>{2, 3});
    CHECK(kept.used);
    Kept twice{"", "udp:1 after udp:;"};
    CHECK(lines_with({"udp:", "udp://", {"udp://"}}, "udp:1 after udp:; udp:2", {&twice}).size() == 1);
}

TEST_CASE("a spelling may be banned in some folders or kinds of files only") {
    const Word word{"plan", "map", {}, {"web/", ".svelte"}};
    CHECK(looked_for_in(word, "web/src/draw/map.ts"));
    CHECK(looked_for_in(word, "other/Map.svelte"));
    CHECK_FALSE(looked_for_in(word, "protocol/decode/decode_plan.hpp"));
    CHECK(looked_for_in({"plan", "map", {}}, "protocol/decode/decode_plan.hpp"));
}

TEST_CASE("each thing has one spelling") {
    const std::vector<Word> words = banned_words();
    std::vector<Kept> kept = kept_texts();
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
        std::vector<Kept*> kept_here;
        for (Kept& keep : kept)
            if (keep.path == path) kept_here.push_back(&keep);
        for (const Word& word : words) {
            if (!looked_for_in(word, path)) continue;
            for (const std::size_t line : lines_with(word, as_words, written, kept_here)) {
                found << path << ":" << line << ": \"" << word.spelling << "\"; say: " << word.instead << "\n";
                ++count;
            }
        }
    }
    INFO(count << " places\n" << found.str());
    CHECK(count == 0);
    for (const Kept& keep : kept) {
        INFO("words_kept.txt: " << keep.path << " keeps \"" << keep.text
                                << "\", which excuses nothing there; delete it");
        CHECK(keep.used);
    }
}
