#include "server/setup/wrapped.hpp"

#include <catch2/catch.hpp>

using turnstone::wrapped;
using Lines = std::vector<std::string>;

TEST_CASE("Text is broken between words, and tables and line ends stay") {
    CHECK(wrapped("", 10) == Lines{});
    CHECK(wrapped("one two three", 7) == Lines{"one two", "three"});
    CHECK(wrapped("one two three", 6) == Lines{"one", "two", "three"});
    CHECK(wrapped("extraordinary word", 5) == Lines{"extraordinary", "word"});
    CHECK(wrapped("one\ntwo three\n\nfour", 20) == Lines{"one", "two three", "", "four"});
    CHECK(wrapped("of\n  udp://ADDRESS:PORT   (every interface)\nnext", 8) ==
          Lines{"of", "  udp://ADDRESS:PORT   (every interface)", "next"});
}
