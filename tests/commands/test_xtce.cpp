// turnstone xtce: a vehicle folder as a document, the document as a dictionary, and what a person reads of both.
#include <catch2/catch.hpp>

#include <filesystem>

#include <nlohmann/json.hpp>

#include "tests/commands/command_line.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;
using Catch::Contains;

TEST_CASE("A vehicle folder goes out as a document, and the document comes back as its dictionary") {
    const TemporaryFolder folder;
    const std::string document = (folder.path() / "out.xml").string(), back = (folder.path() / "back.json").string();
    const Answer out = run_typed({"xtce", demo_path("sanderling").string(), "-o", document});
    INFO(out.out << out.errors);
    REQUIRE(out.code == 0);
    CHECK_THAT(out.out, Contains("out.xml: ") && Contains(" packets, ") &&
                            Contains("not written, or written otherwise:") && Contains("role") &&
                            Contains("dictionary.json"));
    CHECK_THAT(out.out, Contains("lines or sentences"));
    CHECK_THAT(read_file(document), Contains("<SpaceSystem") && Contains("http://www.omg.org/spec/XTCE/20180204"));
    const Answer in = run_typed({"xtce", document, "-o", back});
    INFO(in.out << in.errors);
    REQUIRE(in.code == 0);
    CHECK_THAT(in.out, !Contains("not carried over"));
    const auto before = nlohmann::json::parse(read_file(demo_path("sanderling/dictionary.json")));
    const auto after = nlohmann::json::parse(read_file(back));
    CHECK(after.at("vehicle") == before.at("vehicle"));
    CHECK(after.at("version") == before.at("version"));
    CHECK(after.at("packets").size() == before.at("packets").size());
}

TEST_CASE("A folder with mistakes, one without a dictionary and a place that cannot be written fail with what to do") {
    const TemporaryFolder folder;
    const std::string document = (folder.path() / "out.xml").string();
    const Answer empty = run_typed({"xtce", folder.path().string(), "-o", document});
    CHECK(empty.code == 1);
    CHECK_THAT(empty.errors, Contains("dictionary.json"));
    folder.write("dictionary.json", "{}");
    CHECK(run_typed({"xtce", folder.path().string(), "-o", document}).code == 1);
    CHECK_FALSE(std::filesystem::exists(document));
    const Answer nowhere = run_typed({"xtce", demo_path("sanderling").string(), "-o", "/nowhere/out.xml"});
    CHECK(nowhere.code == 1);
    CHECK_THAT(nowhere.errors, Contains("/nowhere/out.xml cannot be written"));
}

TEST_CASE("A vehicle of which nothing can be written as XTCE is refused, and no file is made") {
    const TemporaryFolder folder;
    const std::string document = (folder.path() / "out.xml").string();
    folder.write("vehicle.json", read_file(demo_path("sanderling/vehicle.json")));
    folder.write("dictionary.json", R"({"vehicle": "sanderling", "version": "1", "secondary_header": {"fields": []},
        "packets": [{"apid": 5, "name": "a", "period_ms": 0, "fields": [
            {"name": "x", "type": "i8", "coding": "offset_binary"}]}]})");
    const Answer answer = run_typed({"xtce", folder.path().string(), "-o", document});
    CHECK(answer.code == 1);
    CHECK_THAT(answer.errors, Contains("a.x") && Contains("offset binary"));
    CHECK_FALSE(std::filesystem::exists(document));
}
