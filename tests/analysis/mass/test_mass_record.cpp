// mass.csv: read with every mistake, and written so that it reads the same.
#include <catch2/catch.hpp>

#include <cmath>
#include <string>
#include <vector>

#include "server/analysis/mass/mass_record.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::analysis;

namespace {

std::string mistakes_of(const std::string& text) {
    std::vector<Problem> problems;
    const auto read = read_mass_csv(text, "mass.csv", problems);
    CHECK(read.has_value() == problems.empty());
    return to_string(problems);
}

std::vector<Weighing> weighings_of(const std::string& text) {
    std::vector<Problem> problems;
    auto read = read_mass_csv(text, "mass.csv", problems);
    INFO(to_string(problems));
    REQUIRE(read);
    return std::move(*read);
}

} // namespace

TEST_CASE("a weighing has what its line says, and nothing where a cell is empty") {
    const auto weighings = weighings_of("note,part,mass_kg,burns,station_m,weighed_on\n"
                                        "\"old, dry\",\"fin \"\"1\"\"\",0.0592,,-0.25,2026-03-07\n"
                                        ",grain,.3382,yes,,\n");
    REQUIRE(weighings.size() == 2);
    CHECK(weighings[0].part == "fin \"1\"");
    CHECK(weighings[0].note == "old, dry");
    CHECK(weighings[0].mass_kg == 0.0592);
    CHECK(weighings[0].station_m == -0.25);
    CHECK(weighings[0].weighed_on == "2026-03-07");
    CHECK_FALSE(weighings[0].burns);
    CHECK(weighings[1].burns);
    CHECK(weighings[1].mass_kg == 0.3382);
    CHECK(std::isnan(weighings[1].station_m));
    CHECK(std::isnan(weighings[1].target_kg));
}

TEST_CASE("a mistake in mass.csv is named with its line and column") {
    struct Case {
        std::string text;
        std::string mistake;
    };
    const std::string head = "part,mass_kg,mass_sigma_kg,burns,weighed_on,note\n";
    const Case cases[] = {
        {"", "is empty"},
        {"part\nfin\n", "line 1, mass_kg: is missing"},
        {"mass_kg\n1\n", "line 1, part: is missing"},
        {"part,mass_kg,part\n", "line 1, part: appears twice"},
        {"part,mass_kg,colour\n", "line 1: has the column \"colour\""},
        {head + "fin,1,0.1,no,2026-03-07\n", "line 2: has 5 cells"},
        {head + ",1,,,,\n", "line 2, part: is empty"},
        {head + "fin,,,,,\n", "line 2, mass_kg: is empty, and so is target_kg"},
        {head + "fin,1 kg,,,,\n", "line 2, mass_kg: is not a number"},
        {head + "fin,\"0,3\",,,,\n", "line 2, mass_kg: is not a number"},
        {head + "fin,0x10,,,,\n", "line 2, mass_kg: is not a number"},
        {head + "fin,nan,,,,\n", "line 2, mass_kg: is not a number"},
        {head + "fin,inf,,,,\n", "line 2, mass_kg: is not a number"},
        {head + "fin,-1,,,,\n", "line 2, mass_kg: is not a number"},
        {head + "fin,1e99,,,,\n", "line 2, mass_kg: is not a number"},
        {head + "fin,1,-0.1,,,\n", "line 2, mass_sigma_kg: is not a number"},
        {head + "fin,1,,maybe,,\n", "line 2, burns: is not yes or no"},
        {head + "fin,1,,,2026-02-30,\n", "line 2, weighed_on: is not a date"},
        {head + "fin,1,,,7 March,\n", "line 2, weighed_on: is not a date"},
        {head + "fin,1,,,,=1+1\n", "line 2, note: begins with ="},
        {head + "@fin,1,,,,\n", "line 2, part: begins with @"},
        {head + "fin,1,,,,\x1b[2J\n", "line 2, note: has a control character"},
        {head + "fin,1,,,,\"two\nlines\"\n", "line 2, note: has a control character or a line end"},
        {head + std::string(kMassTextMax + 1, 'x') + ",1,,,,\n", "line 2, part: is longer than"},
        {head + "fin,1,,,,\nfin,x,,,,\n", "line 3, mass_kg: is not a number"},
        {head + "fin,\"1,,,,\n", "a quoted cell that is never closed"},
    };
    for (const Case& one : cases) {
        INFO(one.text);
        CHECK_THAT(mistakes_of(one.text), Catch::Contains(one.mistake));
    }
    CHECK(mistakes_of(head) == "");
    // Every one, not the first alone.
    CHECK_THAT(mistakes_of(head + "fin,x,y,,,\n,1,,,,\n"),
               Catch::Contains("mass_kg") && Catch::Contains("mass_sigma_kg") && Catch::Contains("line 3, part"));
}

TEST_CASE("a mass record that is written reads the same, to the last digit") {
    const std::string demo = test::read_file(test::demo_path("sanderling/mass.csv"));
    const auto weighings = weighings_of(demo);
    REQUIRE(weighings.size() > 15);
    const std::string written = write_mass_csv(weighings);
    CHECK(write_mass_csv(weighings_of(written)) == written);
    const auto again = weighings_of(written);
    REQUIRE(again.size() == weighings.size());
    for (std::size_t i = 0; i < again.size(); ++i) {
        CHECK(again[i].part == weighings[i].part);
        CHECK(again[i].mass_kg == weighings[i].mass_kg);
        CHECK(again[i].burns == weighings[i].burns);
        CHECK(std::isnan(again[i].station_m) == std::isnan(weighings[i].station_m));
    }
    Weighing awkward{.part = "\"a\", b", .mass_kg = 0.1 + 0.2};
    CHECK(weighings_of(write_mass_csv({awkward})).at(0).part == awkward.part);
    CHECK(weighings_of(write_mass_csv({awkward})).at(0).mass_kg == 0.1 + 0.2);
}
