// The subcommands that read a recording, on one that a station made.
#include <filesystem>
#include <fstream>
#include <sstream>
#include <thread>
#include <utility>

#include <catch2/catch.hpp>

#include "server/ingest/ingest.hpp"
#include "server/setup/serve_setup.hpp"
#include "tests/commands/command_line.hpp"
#include "tests/support/recorder_settings.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

/// A recording of a capture file that holds noise: frames, none of them good.
std::filesystem::path record_noise(const TemporaryFolder& folder) {
    std::string noise;
    for (unsigned i = 0; i < 5000; ++i) noise += static_cast<char>(i * i % 251);
    Settings settings;
    settings.vehicles = {demo_path("sanderling")};
    settings.site = demo_path("site.json");
    settings.links = {parse_link_uri("file:" + folder.write("noise.bin", noise).string()).value()};
    std::vector<Problem> problems;
    ServeSetup setup = read_setup(settings, problems).value();
    std::string id;
    {
        Recorder recorder(recorder_settings(folder.path()), *setup.pipeline);
        Ingest ingest(setup.pipeline, std::move(setup.uris), folder.path(), recorder,
                      {[&id](const LiveTape& tape) { id = tape.id; }, [](const std::shared_ptr<const Batch>&) {}});
        ingest.start();
        while (ingest.links().front().bytes < noise.size()) std::this_thread::yield();
    }
    return folder.path() / (id + ".sqlite");
}

Answer run(const Subcommand& subcommand, const Arguments& given) {
    std::ostringstream out;
    std::ostringstream errors;
    const int code = subcommand.run(given, out, errors);
    return {code, out.str(), errors.str()};
}

} // namespace

TEST_CASE("What was recorded is found the same by verify, and what reprocess makes of it is a recording too") {
    const TemporaryFolder folder;
    const std::string recording = record_noise(folder).string();
    const std::string vehicle = demo_path("sanderling");
    for (const Arguments& given :
         {Arguments{{"FILE", {recording}}}, Arguments{{"FILE", {recording, recording}}, {"--vehicle", {vehicle}}}}) {
        const Answer verified = run(verify_subcommand(), given);
        INFO(verified.out << verified.errors);
        CHECK(verified.code == 0);
        CHECK_THAT(verified.out, Catch::StartsWith(recording + ": ") && Catch::Contains(" give the same "));
    }

    const TemporaryFolder other;
    const Answer made = run(reprocess_subcommand(),
                            {{"FILE", {recording}}, {"--vehicle", {vehicle}}, {"--output", {other.path().string()}}});
    INFO(made.errors);
    REQUIRE(made.code == 0);
    const std::string file = made.out.substr(0, made.out.size() - 1);
    CHECK(std::filesystem::path(file).parent_path() == other.path());
    CHECK(run(verify_subcommand(), {{"FILE", {file}}}).code == 0);

    const Answer beside = run(reprocess_subcommand(), {{"FILE", {recording}}});
    REQUIRE(beside.code == 0);
    CHECK(std::filesystem::path(beside.out).parent_path() == folder.path());
}

TEST_CASE("A vehicle folder with a mistake ends verify and reprocess before they begin") {
    const TemporaryFolder folder;
    const Arguments given{{"FILE", {"/nowhere.sqlite"}}, {"--vehicle", {folder.path().string()}}};
    for (const Subcommand& subcommand : {verify_subcommand(), reprocess_subcommand()}) {
        const Answer answer = run(subcommand, given);
        CHECK(answer.code == 1);
        CHECK_THAT(answer.errors, Catch::Contains("dictionary.json") && !Catch::Contains("nowhere"));
    }
}

TEST_CASE("evaluate ends well when every must-check holds, and not when one does not") {
    const TemporaryFolder folder;
    const std::string recording = record_noise(folder).string();
    const auto evaluated = [&](const std::string& limit) {
        const TemporaryFolder other;
        const std::filesystem::path vehicle = other.path() / "sanderling";
        std::filesystem::copy(demo_path("sanderling"), vehicle, std::filesystem::copy_options::recursive);
        std::ofstream(vehicle / "procedures" / "look.json")
            << R"({"title": "Look", "checks": [{"id": "reboots", "title": "Reboots", "count": {"event": "reboot"}, )"
            << limit << R"(}], "steps": [{"id": "look", "kind": "check", "title": "Look", "checks": ["reboots"]}]})";
        return run(evaluate_subcommand(),
                   {{"FILE", {recording}}, {"--procedure", {"look"}}, {"--with", {vehicle.string()}}});
    };
    const Answer holds = evaluated(R"("most": 0)"); // no vehicle speaks in noise
    INFO(holds.out << holds.errors);
    CHECK(holds.code == 0);
    CHECK_THAT(holds.out, Catch::Contains("must  reboots  Reboots: holds, 0"));
    const Answer fails = evaluated(R"("least": 1)");
    CHECK(fails.code == 1);
    CHECK_THAT(fails.out, Catch::Contains("must  reboots  Reboots: fails, 0"));
    const Answer unknown = run(evaluate_subcommand(), {{"FILE", {recording}}, {"--procedure", {"tea"}}});
    CHECK(unknown.code == 1);
    CHECK_THAT(unknown.errors, Catch::Contains("has no procedure tea"));
}

TEST_CASE("report writes its page beside the recording or where it is told to, and says where") {
    const TemporaryFolder folder;
    const std::filesystem::path recording = record_noise(folder);
    const auto beside = std::filesystem::path(recording).replace_extension(".html");
    const auto elsewhere = folder.path() / "paper.html";
    for (const auto& [given, page] :
         {std::pair(Arguments{{"FILE", {recording.string()}}}, beside),
          std::pair(Arguments{{"FILE", {recording.string()}}, {"--output", {elsewhere.string()}}}, elsewhere)}) {
        const Answer answer = run(report_subcommand(), given);
        INFO(answer.errors);
        CHECK(answer.code == 0);
        CHECK(answer.out == page.string() + "\n");
        CHECK_THAT(read_file(page), Catch::Contains("Recording report"));
    }
    const Answer none = run(report_subcommand(), {{"FILE", {(folder.path() / "none.sqlite").string()}}});
    CHECK(none.code == 1);
    CHECK_THAT(none.errors, Catch::Contains("none.sqlite"));
    const Answer nowhere = run(report_subcommand(), {{"FILE", {recording.string()}},
                                                     {"--output", {(folder.path() / "no" / "paper.html").string()}}});
    CHECK(nowhere.code == 1);
    CHECK_THAT(nowhere.errors, Catch::Contains("cannot be written"));
}
