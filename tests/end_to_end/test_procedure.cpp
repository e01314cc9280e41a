// A procedure that the server dies in: the real server, killed with nine, goes on with it, and everything that it
// confirmed before is kept.
#include <catch2/catch.hpp>

#include <chrono>
#include <csignal>
#include <filesystem>
#include <string>
#include <thread>
#include <vector>

#include <nlohmann/json.hpp>

#include "tests/end_to_end/child.hpp"
#include "tests/end_to_end/database.hpp"
#include "tests/end_to_end/desk.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;
using namespace std::chrono_literals;
using nlohmann::json;

TEST_CASE("A procedure goes on after the server was killed in it, with everything confirmed kept") {
    const TemporaryFolder folder;
    const auto radio = folder.path() / "radio";
    Child simulator({program_path("simulate"), "--vehicle", demo_path("sanderling"), "--site", demo_path("site.json"),
                     "--scenario", "on-the-rail", "--seed", "7", "--to", "pty:" + radio.string()},
                    folder.path() / "simulate.log");
    REQUIRE(simulator.wait_for("sending to", 60s).has_value());
    const json done{{"do", "done"}};
    const auto step = [&](const char* id) {
        json body = done;
        body["step"] = id;
        return body;
    };
    {
        Desk desk(folder, radio);
        REQUIRE(desk.act("procedure", {{"procedure", "dry-run"}, {"do", "begin"}}) == 200);
        REQUIRE(desk.act("statement", {{"check", "inert"}, {"holds", true}, {"note", "two of us looked"}}) == 200);
        REQUIRE(desk.act("step", step("inert")) == 200);
        REQUIRE(desk.act("step", step("on_rail")) == 200);
        desk.kill(); // at once: what was answered is in the file
    }
    {
        Desk desk(folder, radio);
        REQUIRE(desk.told("station_resumed", ""));
        for (const char* kept : {"inert", "on_rail"}) {
            INFO(kept);
            CHECK(desk.count("step_done", kept) == 1);
        }
        CHECK(desk.count("statement", "") == 1);
        CHECK(desk.count("procedure_begun", "") == 1);
        // It is still under way: another is refused, its own next steps are taken.
        CHECK(desk.act("procedure", {{"procedure", "dry-run"}, {"do", "begin"}}) == 409);
        CHECK(desk.told("step_done", "up")); // by itself, when link and lamps are good
        CHECK(desk.act("step", step("rail")) == 200);
        CHECK(desk.told("step_done", "rail"));
        CHECK(desk.act("procedure", {{"procedure", "dry-run"}, {"do", "end"}}) == 200);
        CHECK(desk.told("procedure_ended", ""));
        CHECK(desk.act("step", step("hold")) == 409);
        desk.end();
    }
    std::vector<std::filesystem::path> files;
    for (const auto& entry : std::filesystem::directory_iterator(folder.path() / "recordings"))
        if (entry.path().extension() == ".sqlite") files.push_back(entry.path());
    REQUIRE(files.size() == 1);
    Database database(files.front());
    CHECK(database.text("SELECT group_concat(json_extract(data_json, '$.step'), ' ') FROM event "
                        "WHERE event = 'step_done' ORDER BY id") == "inert on_rail up rail");
    CHECK(database.text("SELECT json_extract(data_json, '$.note') FROM event WHERE event = 'statement'") ==
          "two of us looked");
    Child verify({program_path("turnstone"), "verify", files.front().string()}, folder.path() / "verify.log");
    CHECK(verify.wait(120s) == 0);
    CHECK(verify.output().find("bit for bit") != std::string::npos);
}
