// The words of enumerations: complete, distinct, and the way back. The enumerations of the pure folders are checked in
// tests/pipeline/test_words.cpp.
#include <catch2/catch.hpp>

#include "shared/link_state.hpp"
#include "shared/words.hpp"

namespace {

enum class Season : unsigned char { spring, summer, autumn };
consteval auto words_of(Season) {
    return turnstone::words<Season::autumn>("spring", "summer", "fall");
}

enum class Wind : unsigned char { calm, breeze };
constexpr turnstone::Worded<Wind> kWindWords[] = {{Wind::calm, "calm"}, {Wind::breeze, "breeze"}};
consteval auto words_of(Wind) {
    return turnstone::words_in<Wind::breeze>(kWindWords);
}

} // namespace

TEST_CASE("words may stand in a table beside their enumerators") {
    STATIC_REQUIRE(turnstone::word(Wind::calm) == "calm");
    STATIC_REQUIRE(turnstone::word(Wind::breeze) == "breeze");
}

TEST_CASE("each enumerator has its word, and each word its enumerator") {
    using namespace turnstone;
    STATIC_REQUIRE(word(Season::autumn) == "fall");
    STATIC_REQUIRE(from_word<Season>("summer") == Season::summer);
    CHECK(from_word<Season>("autumn") == std::nullopt);
    CHECK(from_word<Season>("") == std::nullopt);
    CHECK(enumeration<Season>() == Enumeration{{0, "spring"}, {1, "summer"}, {2, "fall"}});
    CHECK(from_word<LinkState>("no_data") == LinkState::no_data);
}

TEST_CASE("a number that is not an enumerator, from a damaged file, is neither read past the words nor kept") {
    using namespace turnstone;
    CHECK(word(static_cast<Season>(200)) == "?");
    CHECK(from_number<Season>(200) == Season::autumn);
    CHECK(from_number<Season>(-1) == Season::spring);
    CHECK(from_number<Season>(1) == Season::summer);
}
