// The two subcommands that process a recording again, on one that a station made.
#include <sstream>
#include <thread>

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
