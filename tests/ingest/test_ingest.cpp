// Real links, pipeline and recorder together: what was sent against what is in the SQLite files afterwards, read with
// plain SQL (sqlite3 C API), not with our reader.
#include <algorithm>
#include <chrono>
#include <mutex>
#include <set>
#include <thread>

#include <boost/asio/buffer.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/udp.hpp>
#include <catch2/catch.hpp>
#include <sqlite3.h>

#include "server/ingest/ingest.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/verify.hpp"
#include "server/record/write/repair.hpp"
#include "server/setup/serve_setup.hpp"
#include "tests/support/recorder_settings.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;
using namespace std::chrono_literals;
using boost::asio::ip::udp;

namespace {

struct StoredChunk {
    bool carried;
    std::string bytes;
};

std::vector<StoredChunk> stored_chunks(const std::filesystem::path& file) {
    sqlite3* database = nullptr;
    REQUIRE(sqlite3_open_v2(file.c_str(), &database, SQLITE_OPEN_READONLY, nullptr) == SQLITE_OK);
    sqlite3_stmt* statement = nullptr;
    REQUIRE(sqlite3_prepare_v2(database, "SELECT carried, bytes FROM chunk ORDER BY input", -1, &statement, nullptr) ==
            SQLITE_OK);
    std::vector<StoredChunk> out;
    while (sqlite3_step(statement) == SQLITE_ROW) {
        out.push_back({sqlite3_column_int(statement, 0) != 0,
                       std::string(static_cast<const char*>(sqlite3_column_blob(statement, 1)),
                                   static_cast<std::size_t>(sqlite3_column_bytes(statement, 1)))});
    }
    sqlite3_finalize(statement);
    sqlite3_close(database);
    return out;
}

/// Keeps what the interpreter hands over.
struct Outputs {
    std::mutex mutex;
    std::vector<LiveTape> tapes;
    std::vector<std::shared_ptr<const Batch>> batches;

    IngestOutputs sinks() {
        return {[this](LiveTape tape) {
                    const std::lock_guard lock(mutex);
                    tapes.push_back(std::move(tape));
                },
                [this](std::shared_ptr<const Batch> batch) {
                    const std::lock_guard lock(mutex);
                    batches.push_back(std::move(batch));
                }};
    }
    std::vector<LiveTape> begun() {
        const std::lock_guard lock(mutex);
        return tapes;
    }
};

/// Of the recordings of a folder, in order, as they are stored.
std::vector<Action> stored_actions(const std::filesystem::path& folder) {
    std::vector<Action> out;
    for (const auto& path : recording_files(folder)) {
        auto reader = RecordingReader::open(path);
        REQUIRE(reader);
        reader->inputs([](const ChunkRecord&, std::span<const std::byte>) {},
                       [&](const ActionRecord& action) { out.push_back(action.action); });
    }
    return out;
}

template <class Condition>
bool eventually(Condition&& condition) {
    for (int i = 0; i < 500; ++i) {
        if (condition()) return true;
        std::this_thread::sleep_for(10ms);
    }
    return false;
}

bool has(const std::vector<Action>& actions, const Action& wanted) {
    return std::ranges::find(actions, wanted) != actions.end();
}

ServeSetup demo_setup(const std::string& link) {
    Settings settings;
    settings.vehicles = {demo_path("sanderling")};
    settings.site = demo_path("site.json");
    settings.links = {parse_link_uri(link).value()};
    std::vector<Problem> problems;
    auto setup = read_setup(settings, problems);
    INFO(to_string(problems));
    REQUIRE(setup);
    return std::move(*setup);
}

/// Sends datagrams to a link of the station.
class Radio {
  public:
    [[nodiscard]] std::string uri() const {
        return "udp://127.0.0.1:" + std::to_string(target_.port()) + "?name=radio";
    }
    void send(const std::string& datagram) { sender_.send_to(boost::asio::buffer(datagram), target_); }

  private:
    boost::asio::io_context context_;
    udp::socket sender_{context_, udp::v4()};
    /// A port that was free a moment ago.
    udp::endpoint target_ =
        udp::socket(context_, udp::endpoint(boost::asio::ip::address_v4::loopback(), 0)).local_endpoint();
};

} // namespace

TEST_CASE("No byte is lost or doubled when one recording follows another while bytes arrive") {
    const TemporaryFolder folder;
    Radio radio;
    ServeSetup setup = demo_setup(radio.uri());

    std::string sent;
    Outputs outputs;
    {
        Recorder recorder(recorder_settings(folder.path()), *setup.pipeline);
        Ingest ingest(setup.pipeline, std::move(setup.uris), folder.path(), recorder, outputs.sinks());
        ingest.start();
        REQUIRE(eventually([&] { return ingest.links().front().state == LinkState::open; }));
        for (int i = 0; i < 600; ++i) {
            // Datagrams end in the middle of frames, so that most recordings end with an unfinished one to carry over.
            std::string datagram;
            for (int k = 0; k < 23; ++k) {
                const auto number = static_cast<unsigned>(i * 23 + k);
                datagram += static_cast<char>(number % 37 == 0 ? 0 : 1 + number % 250);
            }
            radio.send(datagram);
            sent += datagram;
            if (i % 150 == 149) ingest.new_recording("part " + std::to_string(i));
            // A socket's buffer holds some hundred datagrams; the computer may be busy.
            while (sent.size() > ingest.links().front().bytes + 2000) std::this_thread::sleep_for(1ms);
        }
        REQUIRE(eventually([&] { return ingest.links().front().bytes == sent.size(); }));
        REQUIRE(eventually([&] { return outputs.begun().size() == 5; }));
        CHECK(ingest.links().front().t_last_ns > 0);
    }

    REQUIRE(outputs.tapes.size() == 5);
    std::set<std::string> files;
    std::string kept;
    for (const LiveTape& tape : outputs.tapes) {
        INFO(tape.id);
        CHECK(files.insert(tape.id).second);
        std::string repeated, fresh;
        for (const StoredChunk& chunk : stored_chunks(folder.path() / (tape.id + ".sqlite"))) {
            // What is carried over stands first, and repeats the end of the recording before.
            if (chunk.carried) CHECK(fresh.empty());
            (chunk.carried ? repeated : fresh) += chunk.bytes;
        }
        REQUIRE(repeated.size() <= kept.size());
        CHECK(kept.compare(kept.size() - repeated.size(), std::string::npos, repeated) == 0);
        CHECK(repeated.empty() == kept.empty());
        kept += fresh;
    }
    CHECK(kept == sent);
    for (const LiveTape& tape : outputs.tapes) {
        const auto report = verify_recording(folder.path() / (tape.id + ".sqlite"));
        REQUIRE(report);
        INFO(report->first_difference);
        CHECK(report->differences == 0);
    }
}

TEST_CASE("Link states and markers are recorded as actions, and a new recording begins with the state of the links") {
    const TemporaryFolder folder;
    const auto capture = folder.write("capture.bin", std::string(50000, 'x'));
    ServeSetup setup = demo_setup("file:" + capture.string() + "?name=old-flight");
    Outputs outputs;
    const auto recordings = folder.path() / "recordings";
    Recorder recorder(recorder_settings(recordings), *setup.pipeline);
    Ingest ingest(setup.pipeline, std::move(setup.uris), recordings, recorder, outputs.sinks());
    ingest.start();
    REQUIRE(eventually([&] { return ingest.links().front().state == LinkState::end_of_file; }));
    CHECK(ingest.links().front().bytes == 50000);
    ingest.action(Marker{.text = "door closed"});
    REQUIRE(eventually(
        [&] { return recorder.flush(5000) && has(stored_actions(recordings), Marker{.text = "door closed"}); }));
    const std::vector<Action> before = stored_actions(recordings);
    CHECK(has(before, LinkReport{.link = "old-flight", .state = LinkState::opening}));
    CHECK(has(before, LinkReport{.link = "old-flight", .state = LinkState::end_of_file}));
    ingest.new_recording("second");
    REQUIRE(eventually([&] { return outputs.begun().size() == 2; }));
    REQUIRE(recorder.flush(5000));
    const auto reports = [](const std::vector<Action>& actions) { // a busy machine may have faults beside them
        return std::ranges::count_if(actions,
                                     [](const Action& one) { return std::holds_alternative<LinkReport>(one); });
    };
    CHECK(reports(stored_actions(recordings)) == reports(before) + 1);
    CHECK(std::ranges::count(stored_actions(recordings),
                             Action(LinkReport{.link = "old-flight", .state = LinkState::end_of_file})) ==
          std::ranges::count(before, Action(LinkReport{.link = "old-flight", .state = LinkState::end_of_file})) + 1);
    CHECK(outputs.begun().back().name == "second");
    ingest.stop();
    ingest.stop();
    CHECK(recorder.flush(5000));
}

TEST_CASE("The first recording begins with the actions it is given, and readers are told before one is closed") {
    const TemporaryFolder folder;
    ServeSetup setup = demo_setup("file:/nonexistent.bin?name=radio");
    Outputs outputs;
    std::vector<std::string> order;
    IngestOutputs sinks = outputs.sinks();
    sinks.on_tape = [&, keep = sinks.on_tape](LiveTape tape) {
        order.push_back("tape");
        keep(std::move(tape));
    };
    sinks.on_closing = [&] { order.push_back("closing"); };
    Recorder recorder(recorder_settings(folder.path()), *setup.pipeline);
    Ingest ingest(setup.pipeline, std::move(setup.uris), folder.path(), recorder, std::move(sinks));
    const Action before = EngineTotal{.vehicle = "sanderling", .running_s = 12.5};
    ingest.start({before});
    REQUIRE(eventually([&] { return recorder.flush(5000) && !stored_actions(folder.path()).empty(); }));
    CHECK(stored_actions(folder.path()).front() == before);
    ingest.new_recording("second");
    REQUIRE(eventually([&] { return outputs.begun().size() == 2; }));
    ingest.stop();
    CHECK(order == std::vector<std::string>{"tape", "closing", "tape"});
}

TEST_CASE(
    "A procedure that was passed is known to the next recording by the one in which it was, and with what was waived") {
    const TemporaryFolder folder;
    ServeSetup setup = demo_setup("file:/nonexistent.bin?name=radio");
    const Procedure procedure = setup.pipeline->vehicles.front().procedures.front();
    Outputs outputs;
    Recorder recorder(recorder_settings(folder.path()), *setup.pipeline);
    Ingest ingest(setup.pipeline, std::move(setup.uris), folder.path(), recorder, outputs.sinks());
    ingest.start();
    REQUIRE(eventually([&] { return outputs.begun().size() == 1; }));
    ingest.action(ProcedureCommand{"sanderling", procedure.id, ProcedureStep::begin, "KL"});
    for (const Step& step : procedure.steps)
        ingest.action(StepCommand{"sanderling", step.id, StepDeed::waive, "KL", "done yesterday"});
    ingest.action(ProcedureCommand{"sanderling", procedure.id, ProcedureStep::end, "KL"});
    ingest.new_recording("second");
    REQUIRE(eventually([&] { return outputs.begun().size() == 2; }));
    ingest.stop();
    REQUIRE(recorder.flush(5000));
    const std::vector<Action> actions = stored_actions(folder.path());
    const auto carried =
        std::ranges::find_if(actions, [](const Action& one) { return std::holds_alternative<PastProcedure>(one); });
    REQUIRE(carried != actions.end());
    const auto& past = std::get<PastProcedure>(*carried);
    CHECK(past.procedure == procedure.id);
    CHECK(past.recording == outputs.begun().front().id);
    CHECK(past.waived.size() == procedure.steps.size());
}

TEST_CASE("A recording whose file is removed is followed by a new one, which everybody is told of and which verifies") {
    const TemporaryFolder folder;
    Radio radio;
    ServeSetup setup = demo_setup(radio.uri());
    Outputs outputs;
    const std::string datagram(100, 'x');
    std::size_t sent = 0;
    {
        Recorder recorder(recorder_settings(folder.path()), *setup.pipeline);
        Ingest ingest(setup.pipeline, std::move(setup.uris), folder.path(), recorder, outputs.sinks());
        ingest.start();
        REQUIRE(eventually([&] { return ingest.links().front().state == LinkState::open; }));
        const auto send = [&](int count) {
            for (int i = 0; i < count; ++i, ++sent) {
                radio.send(datagram);
                std::this_thread::sleep_for(1ms);
            }
        };
        send(100);
        REQUIRE(recorder.flush(5000));
        const std::string first = outputs.begun().front().id;
        for (const char* ending : {"", "-wal", "-shm"})
            std::filesystem::remove(folder.path() / (first + ".sqlite" + ending));
        REQUIRE(eventually([&] {
            send(10);
            return outputs.begun().size() == 2;
        }));
        CHECK(outputs.begun().back().id != first);
        send(100);
        REQUIRE(eventually([&] { return ingest.links().front().bytes == sent * datagram.size(); }));
        ingest.stop();
        REQUIRE(recorder.flush(5000));
        CHECK(recorder.status().fault.empty());
        CHECK(recorder.status().dropped == Drops{});
    }
    REQUIRE(recording_files(folder.path()).size() == 1);
    const auto file = recording_files(folder.path()).front();
    CHECK(file.stem() == outputs.tapes.back().id);
    std::size_t bytes = 0;
    for (const StoredChunk& chunk : stored_chunks(file)) bytes += chunk.bytes.size();
    CHECK(bytes == sent * datagram.size()); // what the lost file held is carried over
    const auto report = verify_recording(file);
    REQUIRE(report);
    INFO(report->first_difference);
    CHECK(report->differences == 0);
}
