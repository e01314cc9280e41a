// turnstone import and turnstone export, as a person types them; what is in the files is judged in tests/exchange.
#include <catch2/catch.hpp>

#include <array>
#include <regex>
#include <sstream>

#include "tests/commands/command_line.hpp"
#include "tests/exchange/flown.hpp"

using namespace turnstone;
using namespace turnstone::test;
using namespace turnstone::exchange_test;
using Catch::Contains;

namespace {

/// A flight of which the radio missed a part, and the same flight received by another station that missed nothing.
struct TwoStations {
    TemporaryFolder folder, other_folder;
    Flown flight = fly(folder.path(), 20, 9, 12);
    Flown other = fly(other_folder.path(), 20);
    TwoStations() { // one of the same name is taken for the same
        const auto named = other_folder.path() / "other.sqlite";
        std::filesystem::rename(other.recording, named);
        other.recording = named;
    }
    std::string recording = flight.recording.string();
};
const TwoStations& stations() {
    static const TwoStations once;
    return once;
}

std::string log_of(const TemporaryFolder& folder, const std::vector<std::byte>& bytes) {
    return folder.write("flight.log", {reinterpret_cast<const char*>(bytes.data()), bytes.size()}).string(); // NOLINT
}

/// The last line of what is printed is the new recording, and it gives the same again.
void check_merged(const Answer& answer, const std::filesystem::path& folder) {
    INFO(answer.out << answer.errors);
    REQUIRE(answer.code == 0);
    REQUIRE(answer.out.ends_with('\n'));
    const std::string printed = answer.out.substr(0, answer.out.size() - 1);
    const std::string file = printed.substr(printed.rfind('\n') + 1);
    CHECK(std::filesystem::path(file).parent_path() == folder);
    const Answer verified = run_typed({"verify", file});
    INFO(verified.out << verified.errors);
    CHECK(verified.code == 0);
}

std::vector<std::string> lines_of(const std::filesystem::path& file) {
    std::vector<std::string> out;
    std::istringstream text(read_file(file));
    for (std::string line; std::getline(text, line);) out.push_back(line);
    return out;
}

void check_refused(const std::vector<std::string>& words, const std::string& says) {
    const Answer answer = run_typed(words);
    INFO(answer.out << answer.errors);
    CHECK(answer.code == 1);
    CHECK(answer.out.empty());
    CHECK_THAT(answer.errors, Contains(says));
}

} // namespace

TEST_CASE("A log in packets is imported, and what was in both, and the gap it filled, is told") {
    const TemporaryFolder folder;
    const Flown& flight = stations().flight;
    const Answer answer = run_typed({"import", stations().recording, "--log", log_of(folder, flight.logged),
                                     "--packets", "--output", folder.path().string()});
    check_merged(answer, folder.path());
    CHECK_THAT(answer.out, Contains("aligned by onboard_time") &&
                               Contains(std::to_string(flight.packets_received) + " packets in both, " +
                                        std::to_string(flight.packets_logged - flight.packets_received) +
                                        " in the log only, 0 on the radio only, 0 with other content") &&
                               Contains("radio gap from "));
}

TEST_CASE("A log in columns is imported by its mapping and by what is asked to align it") {
    const TemporaryFolder folder;
    // The barometer as the other station heard it, in the file that its own export made.
    const std::string log = (folder.path() / "baro.csv").string();
    REQUIRE(run_typed({"export", stations().other.recording.string(), "--format", "csv", "--channels",
                       "sanderling/baro.static_pressure", "--output", log})
                .code == 0);
    const std::string mapping =
        folder
            .write("log.json",
                   R"({"title": "Barometer", "time": {"column": "t_s [s]", "unit": "s", "is_onboard": false},
                "columns": [{"column": "sanderling/baro.static_pressure [Pa]", "channel": "baro.static_pressure"}]})")
            .string();
    const Answer answer = run_typed({"import", stations().recording, "--log", log, "--mapping", mapping, "--align",
                                     "pressure", "--output", folder.path().string()});
    check_merged(answer, folder.path());
    CHECK_THAT(answer.out, Contains("aligned by pressure: the log's clock read zero ") && Contains(", correlation ") &&
                               Contains("static_pressure: log less radio ") && !Contains("packets in both"));

    check_refused({"import", stations().recording, "--log", log}, "give --mapping log.json");
    check_refused({"import", stations().recording, "--log", log, "--mapping", folder.write("bad.json", "{}").string()},
                  "bad.json");
    check_refused({"import", stations().recording, "--log", log, "--mapping", mapping, "--align", "eye"},
                  "give onboard_time, acceleration or pressure");
}

TEST_CASE("Another station's recording is imported, and what each link brought is told") {
    const TemporaryFolder folder;
    const Answer answer = run_typed({"import", stations().recording, "--recording", stations().other.recording.string(),
                                     "--output", folder.path().string()});
    check_merged(answer, folder.path());
    std::smatch both;
    REQUIRE(std::regex_search(answer.out, both, std::regex("by ([0-9]+) packets that both received")));
    // Of one packet heard by both each link has one; the rest one of them alone.
    const std::size_t heard = stations().other.packets_received;
    CHECK_THAT(answer.out, Contains("the other station's clock was ") && Contains(std::to_string(heard) + " packets") &&
                               Contains(std::to_string(heard - std::stoul(both[1])) + " only here"));
    check_refused({"import", stations().recording}, "give --log, an on-board log, or --recording");
    check_refused({"import", stations().recording, "--log", "a", "--recording", "b"}, "give --log");
    check_refused({"import", stations().recording, "--recording", "/nowhere.sqlite"}, "nowhere.sqlite");
}

TEST_CASE("A recording is exported in every format, beside it or where asked") {
    const TemporaryFolder folder;
    std::filesystem::copy_file(stations().recording, folder.path() / "flown.sqlite");
    const std::string recording = (folder.path() / "flown.sqlite").string();
    // The first bytes of each: RFC 8259, XML 1.0, PKWARE's APPNOTE 4.3.7, HDF5's signature.
    for (const auto& [format, ending, begins] :
         std::vector<std::array<std::string, 3>>{{"csv", ".csv", "utc,t_s [s],series,"},
                                                 {"jsonl", ".jsonl", "{"},
                                                 {"kml", ".kml", "<?xml"},
                                                 {"geojson", ".geojson", "{"},
                                                 {"gpx", ".gpx", "<?xml"},
                                                 {"npz", ".npz", "PK\x03\x04"},
                                                 {"hdf5", ".h5", "\x89HDF\r\n\x1a\n"}}) {
        INFO(format);
        const Answer answer = run_typed({"export", recording, "--format", format});
        INFO(answer.errors);
        REQUIRE(answer.code == 0);
        const std::string file = (folder.path() / ("flown" + ending)).string();
        CHECK(answer.out == file + "\n");
        CHECK(read_file(file).starts_with(begins));
    }
    const std::string raw = (folder.path() / "as.received").string();
    const Answer answer = run_typed({"export", recording, "--format", "raw", "--output", raw});
    CHECK(answer.out == raw + "\n");
    const auto& received = stations().flight.received;
    CHECK(read_file(raw) ==
          std::string_view(reinterpret_cast<const char*>(received.data()), received.size())); // NOLINT
}

TEST_CASE("What is exported is the channels, the window and the time base that were typed") {
    const TemporaryFolder folder;
    const std::string out = (folder.path() / "part.csv").string();
    REQUIRE(
        run_typed({"export", stations().recording, "--format", "csv", "--channels", "sanderling/baro.static_pressure",
                   "--from", "7", "--to", "8.5", "--every", "0.5", "--output", out})
            .code == 0);
    const auto lines = lines_of(out);
    REQUIRE(lines.size() == 4);
    CHECK(lines[0] == "utc,t_s [s],sanderling/baro.static_pressure [Pa]\r");
    for (std::size_t i = 1; i < lines.size(); ++i) {
        const std::array<std::string, 3> times{",7,", ",7.5,", ",8,"};
        CHECK_THAT(lines[i], Contains(times[i - 1]));
    }
    check_refused({"export", stations().recording, "--format", "xls"}, "there is no format \"xls\"");
    check_refused({"export", stations().recording, "--format", "csv", "--from", "soon"},
                  "--from \"soon\" is not a number");
    check_refused({"export", stations().recording, "--format", "csv", "--channels", "osprey"}, "\"osprey\"");
    check_refused({"export", "/nowhere.sqlite", "--format", "csv"}, "nowhere.sqlite");
    check_refused({"export", stations().recording, "--format", "csv", "--output", "/nowhere/part.csv"},
                  "/nowhere/part.csv");
}
