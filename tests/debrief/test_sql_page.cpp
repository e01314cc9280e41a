/// The examples of server/record/SQL.md, as people run them: with the sqlite3 shell and with Python.
#include <catch2/catch.hpp>

#include <algorithm>
#include <atomic>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>
#include <thread>
#include <vector>

#include "tests/report/made_recordings.hpp"

using namespace turnstone;
using report_test::HandMade;

namespace {

struct Example {
    std::string language;
    std::string text;
};

std::vector<Example> examples() {
    std::istringstream page(test::read_file(test::source_path("server/record/SQL.md")));
    std::vector<Example> found;
    bool inside = false;
    for (std::string line; std::getline(page, line);) {
        if (line.starts_with("```")) {
            inside = !inside;
            if (inside) found.push_back({line.substr(3), ""});
        } else if (inside) {
            found.back().text += line + "\n";
        }
    }
    return found;
}

/// What a command prints; it must succeed.
std::string output_of(const std::string& command, const std::filesystem::path& into) {
    INFO(command);
    const int code = std::system((command + " >" + into.string() + " 2>&1").c_str());
    std::string printed = test::read_file(into);
    INFO(printed);
    REQUIRE(code == 0);
    return printed;
}

void run_all(const std::filesystem::path& recording, const std::filesystem::path& folder) {
    const std::filesystem::path script = folder / "example", into = folder / "printed";
    std::size_t statements = 0, programs = 0;
    for (const Example& example : examples()) {
        INFO(example.text);
        std::ofstream(script) << (example.language == "python" ? "RECORDING = '" + recording.string() + "'\n" : "")
                              << example.text;
        if (example.language == "sql") {
            ++statements;
            const std::string printed =
                output_of("sqlite3 -readonly -bail -header -csv " + recording.string() + " <" + script.string(), into);
            CHECK(std::ranges::count(printed, '\n') >= 2); // a head and at least a row
        } else {
            ++programs;
            CHECK(example.language == "python");
            CHECK_FALSE(output_of("python3 " + script.string(), into).empty());
        }
    }
    CHECK(statements >= 8);
    CHECK(programs >= 3);
}

/// A flight with everything that the examples ask for.
void add_all(HandMade& made) {
    report_test::add_flight(made);
    made.event(EventId::flight_named, 110, {{"name", std::string("Flight 7")}});
}

/// Frames come from a pipeline, which a hand-made recording has not.
void add_frame(const std::filesystem::path& recording, const std::filesystem::path& folder) {
    output_of("sqlite3 " + recording.string() + " \"INSERT INTO frame VALUES (1, 0, 0, 0, 4, 0, 0, 0, 16, 0, 0, 0)\"",
              folder / "printed");
}

} // namespace

TEST_CASE("every example of the SQL page runs on a closed recording and gives something") {
    HandMade made(report_test::demo_setup());
    add_all(made);
    const test::TemporaryFolder folder, work;
    const auto recording = made.record(folder, 120);
    add_frame(recording, work.path());
    run_all(recording, work.path());
    const std::string flights = output_of("sqlite3 -csv " + recording.string() +
                                              " \"SELECT vehicle, number, name, liftoff_t_s, burnout_s, apogee_s, "
                                              "touchdown_s FROM flights\"",
                                          work.path() / "printed");
    CHECK(flights == "sanderling,1,\"Flight 7\",20.0,1.85,14.9,75.0\n");
}

TEST_CASE("every example of the SQL page runs while the recording is being written, and does not hold it up") {
    HandMade made(report_test::demo_setup());
    add_all(made);
    const test::TemporaryFolder folder, work;
    auto [recorder, recording] = made.record_on(folder, 120);
    REQUIRE(recorder->flush(10'000));
    add_frame(recording, work.path());
    const auto count_rows = [&, &file = recording] {
        return std::stoul(output_of("sqlite3 -readonly " + file.string() + " 'SELECT count(*) FROM link_radio'",
                                    work.path() / "printed"));
    };
    const std::size_t before = count_rows();

    // Somebody who leaves a query open, and a station that goes on writing.
    const std::filesystem::path seen = work.path() / "seen";
    std::FILE* reader = popen(("sqlite3 -readonly -bail " + recording.string() + " >" + seen.string()).c_str(), "w");
    REQUIRE(reader != nullptr);
    std::fputs("BEGIN;\nSELECT count(*) FROM link_radio;\n", reader);
    std::fflush(reader);
    while (!std::filesystem::exists(seen) || std::filesystem::file_size(seen) == 0) std::this_thread::yield();

    const Table& table = made.table("link/radio");
    std::atomic<std::size_t> written = 0;
    std::atomic<bool> is_over = false;
    std::thread writer([&, &recorder = *recorder] {
        const std::vector<double> numbers(table.number_count, 1.0);
        const std::vector<std::string_view> texts(table.columns.size() - table.number_count);
        for (std::size_t i = 0; !is_over; ++i) {
            const std::int64_t t_ns = made.at(121 + 0.01 * static_cast<double>(i));
            auto batch = std::make_shared<Batch>();
            batch->add_row(table, t_ns, t_ns, numbers, texts);
            recorder.push(batch, {1, t_ns});
            if (!recorder.flush(10'000)) return;
            ++written;
        }
    });
    while (written == 0) std::this_thread::yield();
    const std::size_t at_first = written;
    run_all(recording, work.path());
    const std::size_t at_last = written;
    is_over = true;
    writer.join();
    CHECK(at_last > at_first);
    CHECK(recorder->status().fault.empty());
    CHECK(recorder->status().dropped.rows == 0);
    CHECK(count_rows() == before + written);
    std::fputs("SELECT count(*) FROM link_radio;\n", reader);
    REQUIRE(pclose(reader) == 0);
    const std::string counted = std::to_string(before) + "\n";
    CHECK(test::read_file(seen) == counted + counted); // one moment of the recording, whatever was written since
    recorder.reset();
    CHECK_FALSE(std::filesystem::exists(recording.string() + "-wal"));
}
