// turnstone mass: what a person reads of mass.csv.
#include <catch2/catch.hpp>

#include <nlohmann/json.hpp>

#include "server/analysis/mass/mass_record.hpp"
#include "tests/commands/command_line.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;
using Catch::Contains;

TEST_CASE("The demo's parts add up, like parts are compared and the vehicle file stays as it is") {
    const TemporaryFolder folder;
    folder.write("mass.csv", read_file(demo_path("sanderling/mass.csv")));
    const std::string vehicle = read_file(demo_path("sanderling/vehicle.json"));
    folder.write("vehicle.json", vehicle);
    const std::string copy = (folder.path() / "out.csv").string();
    const Answer answer = run_typed({"mass", folder.path().string(), "--output", copy});
    INFO(answer.out << answer.errors);
    REQUIRE(answer.code == 0);
    CHECK_THAT(answer.out, Contains("drogue, line and links") && Contains("battery A − battery B") &&
                               Contains("+2.7") && Contains("Burnt out") && Contains("2.9  →  2.919"));
    CHECK(read_file(folder.path() / "vehicle.json") == vehicle);
    std::vector<Problem> problems;
    CHECK(analysis::read_mass_csv(read_file(copy), copy, problems)->size() == 19);
}

TEST_CASE("Weighings that leave something open say so") {
    const TemporaryFolder folder;
    folder.write("mass.csv", "part,target_kg,mass_kg,mass_sigma_kg\ntube,1,0.9,0.01\nfin,0.1,,\n");
    folder.write("vehicle.json", read_file(demo_path("sanderling/vehicle.json")));
    const Answer answer = run_typed({"mass", folder.path().string()});
    CHECK(answer.code == 0);
    CHECK_THAT(answer.out, Contains("not weighed") && Contains("1 of 2 parts not weighed") &&
                               Contains("nothing before every part is weighed") && Contains("without station_m"));
}

TEST_CASE("A folder without mass.csv, and one with mistakes, fail with what to do") {
    const TemporaryFolder folder;
    const Answer missing = run_typed({"mass", folder.path().string()});
    CHECK(missing.code == 1);
    CHECK_THAT(missing.errors, Contains("mass.csv"));
    folder.write("mass.csv", "part,mass_kg\n=cmd,1\n");
    const Answer wrong = run_typed({"mass", folder.path().string()});
    CHECK(wrong.code == 1);
    CHECK_THAT(wrong.errors, Contains("line 2, part") && Contains("formula"));
    folder.write("mass.csv", "part,mass_kg\ntube,1\n");
    CHECK(run_typed({"mass", folder.path().string(), "--output", "/nowhere/out.csv"}).code == 1);
}
