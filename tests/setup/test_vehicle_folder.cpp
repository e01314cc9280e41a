#include <algorithm>

#include <catch2/catch.hpp>

#include "server/setup/vehicle_folder.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

namespace turnstone {
namespace {

TEST_CASE("a vehicle folder is read as text and as what the text says") {
    std::vector<Problem> problems;
    const auto setup = read_vehicle_folder(test::demo_path("sanderling"), problems);
    REQUIRE(setup);
    CHECK(problems.empty());
    CHECK(setup->dictionary.vehicle == "sanderling");
    CHECK(setup->vehicle.name == "sanderling");
    CHECK(setup->dictionary_json.find("\"sanderling\"") != std::string::npos);
    CHECK(setup->vehicle_json.find("\"sanderling\"") != std::string::npos);
    // What was weighed goes into the recording with the rest.
    CHECK(std::ranges::count(setup->files, "mass.csv", &FolderFile::name) == 1);
}

TEST_CASE("every mistake in a vehicle folder is reported, with its file") {
    const test::TemporaryFolder folder;
    test::copy_demo(folder);
    const auto mistakes = [&] {
        std::vector<Problem> problems;
        CHECK_FALSE(read_vehicle_folder(folder.path() / "sanderling", problems));
        return to_string(problems);
    };
    folder.write("sanderling/vehicle.json", R"({"name": "plover"})");
    CHECK_THAT(mistakes(), Catch::Contains("/name: is \"plover\"; must be \"sanderling\""));
    folder.write("sanderling/vehicle.json", R"({"name": 5})");
    folder.write("sanderling/dictionary.json", "{");
    CHECK_THAT(mistakes(), Catch::Contains("dictionary.json") && Catch::Contains("vehicle.json: /name"));
    std::filesystem::remove(folder.path() / "sanderling/dictionary.json");
    CHECK_THAT(mistakes(), Catch::Contains("readable dictionary.json") && Catch::Contains("vehicle.json: /name"));
}

TEST_CASE("of several vehicle folders each has a vehicle of its own") {
    std::vector<Problem> problems;
    CHECK(read_vehicle_folders({test::demo_path("sanderling")}, problems).size() == 1);
    CHECK(problems.empty());
    (void)read_vehicle_folders({test::demo_path("sanderling"), test::demo_path("sanderling")}, problems);
    CHECK_THAT(to_string(problems), Catch::Contains("\"sanderling\" is given twice"));
}

} // namespace
} // namespace turnstone
