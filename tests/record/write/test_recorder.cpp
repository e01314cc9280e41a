#include <array>
#include <chrono>
#include <deque>
#include <fstream>
#include <functional>
#include <set>
#include <thread>

#include <catch2/catch.hpp>

#include "server/record/derive.hpp"
#include "server/record/format/recording_id.hpp"
#include "server/record/format/sqlite.hpp"
#include "server/record/read/catalogue.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/unfinished.hpp"
#include "server/record/upkeep.hpp"
#include "server/record/write/recorder.hpp"
#include "server/record/write/recording_claim.hpp"
#include "server/record/write/recording_file.hpp"
#include "tests/record/support.hpp"
#include "tests/record/write/fault_vfs.hpp"

namespace turnstone {
namespace {

using namespace record_test;
using namespace std::chrono_literals;

bool eventually(const std::function<bool()>& condition) {
    for (int i = 0; i < 500; ++i) {
        if (condition()) return true;
        std::this_thread::sleep_for(10ms);
    }
    return false;
}

std::vector<std::byte> bytes_in(const std::filesystem::path& path) {
    std::vector<std::byte> bytes;
    auto reader = RecordingReader::open(path);
    REQUIRE(reader);
    reader->inputs([&](const ChunkRecord&,
                       std::span<const std::byte> octets) { bytes.insert(bytes.end(), octets.begin(), octets.end()); },
                   [](const ActionRecord&) {});
    REQUIRE(reader->damage().empty());
    return bytes;
}

std::int64_t count_in(const std::filesystem::path& path, const std::string& table) {
    Database database(path, Database::Mode::read_only);
    return database.integer("SELECT count(*) FROM " + table);
}

void check_integrity(const std::filesystem::path& path) {
    Database database(path, Database::Mode::read_only);
    CHECK(database.text("PRAGMA integrity_check") == "ok");
}

TEST_CASE("at no moment a file holds what follows from inputs that it does not hold") {
    const TemporaryFolder directory;
    Recorder recorder({.directory = directory.path(), .commit_interval_ms = 100, .sync_every_commit = false},
                      sample_setup());
    const std::string id = recorder.begin(
        sample_schema(), {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "", .continues = ""}, kStart_ns);
    REQUIRE(recorder.flush(5000));
    std::jthread incoming([&](const std::stop_token& stop) {
        BatchMaker maker;
        for (; !stop.stop_requested(); std::this_thread::sleep_for(2ms)) push(recorder, maker.next());
    });
    Database database(directory.recording(id), Database::Mode::read_only);
    std::set<std::int64_t> derived;
    std::int64_t ahead = 0;
    // Whoever looks here sees what a kill in this moment would leave.
    for (const auto end = std::chrono::steady_clock::now() + 5s; std::chrono::steady_clock::now() < end;) {
        const auto frames = database.integer("SELECT count(*) FROM frame");
        derived.insert(frames);
        ahead = std::max(ahead, database.integer("SELECT (SELECT count(*) FROM frame) - (SELECT count(*) FROM chunk)"));
        std::this_thread::sleep_for(1ms);
    }
    CHECK(derived.size() >= 3); // derived rows came in transactions of their own
    CHECK(ahead <= 0);
}

TEST_CASE("a live recording can be read while it is written, up to the newest commit") {
    const TemporaryFolder directory;
    BatchMaker maker;
    Recorder recorder({.directory = directory.path(), .commit_interval_ms = 5, .sync_every_commit = true},
                      sample_setup());
    const std::string id = recorder.begin(
        sample_schema(), {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "", .continues = ""}, kStart_ns);
    REQUIRE(recorder.flush(5000));
    auto reader = RecordingReader::open(directory.recording(id));
    REQUIRE(reader);
    std::uint64_t seen = 0;
    for (int round = 0; round < 40; ++round) {
        for (int i = 0; i < 50; ++i) push(recorder, maker.next());
        if (round % 8 == 7) {
            REQUIRE(recorder.flush(5000));
            const auto whole = reader->series({0, {0}, 0, kLast_ns, 100'000});
            REQUIRE(whole);
            REQUIRE(whole->rows == maker.made());
            const auto drawn = reader->series({0, {0}, 0, kLast_ns, 50});
            REQUIRE(drawn);
            std::uint64_t rows = 0;
            for (const std::uint32_t count : drawn->count) rows += count;
            REQUIRE(rows == maker.made());
        }
        const RecordingInfo info = reader->info();
        CHECK_FALSE(info.closed);
        const auto rows = reader->frames(0, 100'000, std::nullopt).ids.size();
        CHECK(rows >= seen);
        seen = rows;
        const auto latest = reader->latest(kLast_ns);
        CHECK((!latest[0] || latest[0]->first <= kStart_ns + static_cast<std::int64_t>(maker.made()) * kMs));
    }
    SECTION("a copy of it is a closed recording of its own") {
        const auto size = reader->snapshot(directory.path() / "copy.sqlite");
        REQUIRE(size);
        CHECK(*size == std::filesystem::file_size(directory.path() / "copy.sqlite"));
        CHECK(bytes_in(directory.path() / "copy.sqlite") == maker.bytes());
        auto copy = RecordingReader::open(directory.path() / "copy.sqlite");
        REQUIRE(copy);
        CHECK(copy->info().closed);
        CHECK_FALSE(std::filesystem::exists(directory.path() / "copy.sqlite-wal"));
        check_integrity(directory.path() / "copy.sqlite");
        CHECK_FALSE(reader->snapshot("/proc/no/such/place.sqlite"));
    }
    SECTION("a copy taken while batches pour in is consistent") {
        std::atomic<bool> stop = false;
        std::thread writer([&] {
            while (!stop) {
                push(recorder, maker.next());
                std::this_thread::sleep_for(50us);
            }
        });
        for (int i = 0; i < 3; ++i) {
            const auto path = directory.path() / ("copy" + std::to_string(i) + ".sqlite");
            const auto size = reader->snapshot(path);
            REQUIRE(size);
            check_integrity(path);
            CHECK(count_in(path, "chunk") >= count_in(path, "frame"));
            CHECK(count_in(path, "frame") == count_in(path, "sanderling_imu"));
        }
        stop = true;
        writer.join();
    }
}

TEST_CASE("a recording closed under a reader becomes one file when the reader lets go") {
    const TemporaryFolder directory;
    BatchMaker maker;
    Upkeep upkeep(directory.path());
    std::optional<Recorder> recorder(std::in_place, recorder_settings(directory.path()), sample_setup(),
                                     [&](const std::filesystem::path& path) { upkeep.finish(path); });
    const std::string first = recorder->begin(
        sample_schema(), {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "", .continues = ""}, kStart_ns);
    push(*recorder, maker.next());
    REQUIRE(recorder->flush(5000));
    std::optional<Result<RecordingReader>> reader(RecordingReader::open(directory.recording(first)));
    REQUIRE(*reader);
    recorder->begin(sample_schema(), {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "", .continues = ""},
                    kStart_ns);
    REQUIRE(recorder->flush(5000));
    CHECK((*reader)->info().closed);
    CHECK(std::filesystem::exists(directory.recording(first).string() + "-wal"));
    reader.reset();
    CHECK(eventually([&] { return !std::filesystem::exists(directory.recording(first).string() + "-wal"); }));
    recorder.reset();
    CHECK(eventually([&] { return directory.names().size() == 2; }));
}

TEST_CASE("a full queue gives up rows first, then bytes, and counts both") {
    const TemporaryFolder directory;
    FaultyDisk disk;
    BatchMaker maker;
    RecorderStatus status;
    std::string id;
    {
        Recorder recorder({.directory = directory.path(),
                           .commit_interval_ms = 100,
                           .sync_every_commit = true,
                           .queue_bytes_max = 100'000,
                           .retry_interval_ms = 20},
                          sample_setup());
        id = recorder.begin(sample_schema(),
                            {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "", .continues = ""},
                            kStart_ns);
        REQUIRE(recorder.flush(5000));
        disk.fail_writes(SQLITE_FULL);
        for (int i = 0; i < 2000; ++i) push(recorder, maker.next(100));
        status = recorder.status();
        CHECK(status.dropped.rows > 0);
        CHECK(status.dropped.inputs > 0);
        CHECK(status.dropped.bytes == status.dropped.inputs * 100);
        CHECK(status.dropped_here == status.dropped);
        CHECK(status.queue_bytes <= 125'000);
        CHECK(eventually([&] { return recorder.status().fault.find("disk full") == 0; }));
        disk.fail_writes(SQLITE_OK);
        CHECK(recorder.flush(5000));
        CHECK(recorder.status().trouble == RecorderTrouble::bytes_lost); // for the rest of the recording
        CHECK(recorder.status().fault.find(std::to_string(status.dropped.bytes)) == 0);
        CHECK(recorder.status().queue_bytes == 0);
    }
    // Every batch is accounted for: with its row, without it, or not at all.
    const std::int64_t chunks = count_in(directory.recording(id), "chunk");
    const std::int64_t rows = count_in(directory.recording(id), "sanderling_imu");
    CHECK(chunks + static_cast<std::int64_t>(status.dropped.inputs) == 2000);
    CHECK(rows + static_cast<std::int64_t>(status.dropped.rows) == 2000);
    auto reader = RecordingReader::open(directory.recording(id));
    REQUIRE(reader);
    CHECK(reader->info().inputs_dropped == status.dropped.inputs);
    CHECK(reader->info().bytes_dropped == status.dropped.bytes);
    CHECK(reader->info().rows_dropped == status.dropped.rows);
}

TEST_CASE("a disk that fails and recovers costs nothing that memory can hold") {
    struct Case {
        int code;
        const char* fault;
    };
    const auto [code, fault] = GENERATE(Case{SQLITE_FULL, "disk full"}, Case{SQLITE_IOERR_WRITE, "disk error"},
                                        Case{SQLITE_IOERR_FSYNC, "disk error"}, Case{SQLITE_READONLY, "cannot write"});
    const TemporaryFolder directory;
    FaultyDisk disk;
    BatchMaker maker;
    std::string id;
    {
        Recorder recorder({.directory = directory.path(),
                           .commit_interval_ms = 2,
                           .sync_every_commit = true,
                           .retry_interval_ms = 10},
                          sample_setup());
        id = recorder.begin(sample_schema(),
                            {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "", .continues = ""},
                            kStart_ns);
        for (int round = 0; round < 4; ++round) {
            for (int i = 0; i < 50; ++i) {
                push(recorder, maker.next());
                std::this_thread::sleep_for(200us);
            }
            disk.fail_writes(code);
            for (int i = 0; i < 50; ++i) push(recorder, maker.next());
            CHECK(eventually([&, fault = fault] { return recorder.status().fault.find(fault) == 0; }));
            CHECK_FALSE(recorder.status().recording);
            CHECK_FALSE(recorder.flush(5));
            disk.fail_writes(SQLITE_OK);
            REQUIRE(recorder.flush(5000));
            CHECK(recorder.status().fault.empty());
            CHECK(recorder.status().recording);
        }
        CHECK(recorder.status().dropped == Drops{});
        CHECK(recorder.status().rows_written == maker.made());
    }
    CHECK(bytes_in(directory.recording(id)) == maker.bytes());
    CHECK(count_in(directory.recording(id), "sanderling_imu") == static_cast<std::int64_t>(maker.made()));
    check_integrity(directory.recording(id));
    auto reader = RecordingReader::open(directory.recording(id));
    REQUIRE(reader);
    const auto drawn = reader->series({0, {0}, 0, kLast_ns, 7});
    std::uint64_t rows = 0;
    for (const std::uint32_t count : drawn->count) rows += count;
    CHECK(rows == maker.made());
}

TEST_CASE("the size of the recording is known while the disk is at fault") {
    const TemporaryFolder directory;
    FaultyDisk disk;
    BatchMaker maker;
    Recorder recorder(
        {.directory = directory.path(), .commit_interval_ms = 2, .sync_every_commit = true, .retry_interval_ms = 10},
        sample_setup());
    recorder.begin(sample_schema(), {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "", .continues = ""},
                   kStart_ns);
    push(recorder, maker.next());
    REQUIRE(eventually([&] { return recorder.status().file_bytes > 0; }));
    disk.fail_writes(SQLITE_FULL);
    push(recorder, maker.next());
    REQUIRE(eventually([&] { return !recorder.status().fault.empty(); }));
    std::this_thread::sleep_for(1200ms); // it is looked at once a second
    CHECK_FALSE(recorder.status().recording);
    CHECK(recorder.status().file_bytes > 0);
    disk.fail_writes(SQLITE_OK);
}

TEST_CASE("any single failing write is survived") {
    long operations = 1000;
    long failures_met = 0;
    for (long number = 0; number < operations; ++number) {
        const TemporaryFolder directory;
        FaultyDisk disk;
        BatchMaker maker;
        std::string id;
        {
            Recorder recorder({.directory = directory.path(),
                               .commit_interval_ms = 1,
                               .sync_every_commit = true,
                               .retry_interval_ms = 1},
                              sample_setup());
            disk.fail_write_number(number, SQLITE_IOERR_WRITE);
            id = recorder.begin(sample_schema(),
                                {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "", .continues = ""},
                                kStart_ns);
            for (int i = 0; i < 3; ++i) {
                push(recorder, maker.next());
                REQUIRE(recorder.flush(5000));
            }
        }
        if (disk.writes_seen() <= number)
            break; // it went through without meeting the failure: all places have been tried
        ++failures_met;
        INFO("write number " << number);
        const auto found = scan_recordings(directory.path());
        REQUIRE(found.size() == 1);
        // One that could not be marked as closed looks like a copy without its write-ahead file, until the next start.
        REQUIRE((found[0].damage.empty() || !found[0].closed));
        REQUIRE(finish_recording(found[0].path));
        REQUIRE(bytes_in(found[0].path) == maker.bytes());
        REQUIRE(count_in(found[0].path, "sanderling_imu") == 3);
        check_integrity(found[0].path);
        // Most writes are alike; every fourth is enough to keep the test short.
        number += number > 5 && number < 200 ? 3 : 0;
    }
    CHECK(failures_met > 20);
}

TEST_CASE("a commit that fails after its data have reached the file is not written twice") {
    for (long number = 0; number < 60; ++number) {
        const TemporaryFolder directory;
        FaultyDisk disk;
        BatchMaker maker;
        std::string id;
        {
            Recorder recorder({.directory = directory.path(),
                               .commit_interval_ms = 20,
                               .sync_every_commit = true,
                               .retry_interval_ms = 1},
                              sample_setup());
            id = recorder.begin(sample_schema(),
                                {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "", .continues = ""},
                                kStart_ns);
            push(recorder, maker.next());
            REQUIRE(recorder.flush(5000));
            disk.fail_writes_from(number, SQLITE_IOERR_FSYNC);
            for (int i = 0; i < 5; ++i) push(recorder, maker.next());
            auto tick = std::make_shared<Batch>(); // rows that no input tells apart
            tick->add_row(sample_schema().tables[2], kStart_ns, kStart_ns, std::array{1.0});
            recorder.push(tick, {maker.made(), kStart_ns});
            REQUIRE(eventually([&] { return !recorder.status().fault.empty() || recorder.status().queue_bytes == 0; }));
            if (recorder.status().fault.empty()) { // the whole commit takes fewer writes
                CHECK(number > 5);
                break;
            }
            disk.fail_writes(SQLITE_OK);
            REQUIRE(recorder.flush(5000));
            CHECK(recorder.status().dropped == Drops{});
            CHECK(recorder.status().rows_written == maker.made() + 1);
            CHECK(recorder.status().queue_bytes == 0);
        }
        INFO("failing from write number " << number);
        REQUIRE(bytes_in(directory.recording(id)) == maker.bytes());
        REQUIRE(count_in(directory.recording(id), "sanderling_imu") == static_cast<std::int64_t>(maker.made()));
        REQUIRE(count_in(directory.recording(id), "sanderling_estimate_vertical") == 1);
        check_integrity(directory.recording(id));
    }
}

TEST_CASE("no directory, no permission: recording begins when it can") {
    const TemporaryFolder directory;
    const auto blocked = directory.path() / "recordings";
    std::ofstream(blocked) << "a file where the directory should be";
    BatchMaker maker;
    Recorder recorder(
        {.directory = blocked, .commit_interval_ms = 100, .sync_every_commit = true, .retry_interval_ms = 10},
        sample_setup());
    const std::string id = recorder.begin(
        sample_schema(), {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "", .continues = ""}, kStart_ns);
    push(recorder, maker.next());
    CHECK(eventually([&] { return !recorder.status().fault.empty(); }));
    INFO(recorder.status().fault);
    CHECK(recorder.status().fault.find(blocked.string()) != std::string::npos);
    CHECK_FALSE(recorder.status().recording);
    std::filesystem::remove(blocked);
    CHECK(recorder.flush(5000));
    CHECK(recorder.status().recording);
    CHECK(bytes_in(blocked / (id + ".sqlite")) == maker.bytes());
}

TEST_CASE("a file deleted under the recorder is lost, which it says, and the next recording continues it") {
    const TemporaryFolder directory;
    BatchMaker maker;
    Recorder recorder(
        {.directory = directory.path(), .commit_interval_ms = 5, .sync_every_commit = true, .retry_interval_ms = 10},
        sample_setup());
    const RecordingHead head{.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "", .continues = ""};
    const std::string id = recorder.begin(sample_schema(), head, kStart_ns);
    push(recorder, maker.next());
    REQUIRE(recorder.flush(5000));
    CHECK_FALSE(recorder.status().lost);
    for (const char* ending : {"", "-wal", "-shm"}) std::filesystem::remove(directory.recording(id).string() + ending);
    const std::size_t gone = maker.bytes().size();
    CHECK(eventually([&] { return recorder.status().lost; }));
    CHECK_FALSE(recorder.status().recording);
    CHECK(recorder.status().trouble == RecorderTrouble::fault);
    RecordingHead next = head;
    next.continues = id;
    const std::string next_id = recorder.begin(sample_schema(), next, kStart_ns);
    CHECK(next_id != id);
    push(recorder, maker.next());
    REQUIRE(recorder.flush(5000));
    CHECK(recorder.status().fault.empty());
    const auto bytes = bytes_in(directory.recording(next_id));
    CHECK(bytes ==
          std::vector<std::byte>(maker.bytes().begin() + static_cast<std::ptrdiff_t>(gone), maker.bytes().end()));
    Database database(directory.recording(next_id), Database::Mode::read_only);
    CHECK(database.text("SELECT value FROM meta WHERE key = 'continues'") == id);
}

TEST_CASE("recordings that are begun in the same second have an id each, of one recorder or of several") {
    const TemporaryFolder directory;
    const auto folder = directory.path() / "not there yet";
    const RecordingHead head{.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "", .continues = ""};
    BatchMaker maker;
    // All looked at the folder before any made a file.
    std::deque<Recorder> recorders;
    for (int i = 0; i < 3; ++i) recorders.emplace_back(recorder_settings(folder), sample_setup());
    std::set<std::string> ids;
    for (int round = 1; round <= 2; ++round) {
        for (Recorder& recorder : recorders) {
            const std::string id = recorder.begin(sample_schema(), head, kStart_ns + round);
            CHECK(ids.insert(id).second);
            for (int i = 0; i < 10 * round; ++i) push(recorder, maker.next());
            REQUIRE(recorder.flush(5000));
            CHECK(count_in(folder / (id + ".sqlite"), "chunk") == 10 * round);
            CHECK(recorder.status().recording_id == id);
        }
    }
    for (const Recorder& recorder : recorders) {
        CHECK(recorder.status().dropped == Drops{});
        CHECK_FALSE(recorder.status().lost);
    }
}

TEST_CASE("a recorder whose recording's name is another's is told, and takes the next") {
    const TemporaryFolder directory;
    BatchMaker maker;
    const RecordingHead head{.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "", .continues = ""};
    Recorder recorder(recorder_settings(directory.path()), sample_setup());
    const std::string id = recording_id(kStart_ns, "sanderling");
    const auto others = RecordingClaim::take(directory.recording(id));
    REQUIRE(recorder.begin(sample_schema(), head, kStart_ns) == id);
    CHECK(eventually([&] { return recorder.status().lost; }));
    const std::string other = recorder.begin(sample_schema(), head, kStart_ns);
    CHECK(other != id);
    for (int i = 0; i < 10; ++i) push(recorder, maker.next());
    REQUIRE(recorder.flush(5000));
    CHECK(count_in(directory.recording(other), "chunk") == 10);
    CHECK_FALSE(std::filesystem::exists(directory.recording(id)));
    CHECK(recorder.status().dropped == Drops{});
}

TEST_CASE("results that are published in the same moment have an id each") {
    const TemporaryFolder directory;
    std::array<std::set<std::filesystem::path>, 4> published;
    {
        std::deque<std::thread> threads;
        for (std::size_t k = 0; k < published.size(); ++k)
            threads.emplace_back([&, k] {
                for (int i = 0; i < 10; ++i) {
                    const Unfinished made(directory.path(), std::to_string(k));
                    create_recording(made.path(), texts_of(sample_setup()), sample_schema(),
                                     {kStart_ns, kStart_ns, "", ""}, false);
                    published[k].insert(made.publish(kStart_ns, "sanderling"));
                }
            });
        for (std::thread& thread : threads) thread.join();
    }
    std::set<std::filesystem::path> all;
    for (const auto& some : published) all.insert(some.begin(), some.end());
    CHECK(all.size() == 40);
    CHECK(recording_files(directory.path()).size() == 40);
}

TEST_CASE("an input that cannot be stored is dropped alone, even while the disk is at fault") {
    const bool faulty = GENERATE(false, true);
    const TemporaryFolder directory;
    FaultyDisk disk;
    BatchMaker maker;
    std::string id;
    {
        Recorder recorder({.directory = directory.path(),
                           .commit_interval_ms = 100,
                           .sync_every_commit = true,
                           .retry_interval_ms = 10},
                          sample_setup());
        id = recorder.begin(sample_schema(),
                            {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "", .continues = ""},
                            kStart_ns);
        REQUIRE(recorder.flush(5000));
        if (faulty) disk.fail_writes(SQLITE_FULL);
        const auto first = maker.next();
        push(recorder, first);
        recorder.push(first.inputs); // the same input number twice
        if (faulty) {
            CHECK(eventually([&] { return recorder.status().fault.find("disk full") == 0; }));
            disk.fail_writes(SQLITE_OK);
        }
        push(recorder, maker.next());
        REQUIRE(recorder.flush(5000));
        CHECK(recorder.status().dropped.inputs == 1);
    }
    CHECK(bytes_in(directory.recording(id)) == maker.bytes());
}

TEST_CASE("a pulled plug loses what a killed process loses when every commit is synced") {
    const bool synced = GENERATE(true, false);
    const TemporaryFolder directory;
    const TemporaryFolder cut;
    FaultyDisk disk;
    BatchMaker maker;
    struct Cut {
        std::filesystem::path path;
        std::uint64_t promised;
    };
    std::vector<Cut> cuts;
    std::string id;
    {
        Recorder recorder({.directory = directory.path(), .commit_interval_ms = 20, .sync_every_commit = synced},
                          sample_setup());
        id = recorder.begin(sample_schema(),
                            {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "", .continues = ""},
                            kStart_ns);
        REQUIRE(recorder.flush(5000));
        disk.keep_synced_images(directory.path());
        std::mt19937 random(3);
        std::uint64_t committed = 0;
        for (int i = 0; i < 600; ++i) {
            push(recorder, maker.next(2000));
            if (i % 50 == 20) {
                REQUIRE(recorder.flush(5000));
                committed = maker.made();
            }
            if (i % 60 == 59) {
                cuts.push_back({cut.path() / std::to_string(i), committed});
                disk.power_cut_image(cuts.back().path);
            }
            std::this_thread::sleep_for(std::chrono::microseconds(random() % 300));
        }
    }
    REQUIRE(cuts.size() == 10);
    for (const Cut& at : cuts) {
        const auto path = at.path / (id + ".sqlite");
        const auto bytes = bytes_in(path);
        CHECK(bytes.size() % 2000 == 0);
        CHECK(std::equal(bytes.begin(), bytes.end(), maker.bytes().begin()));
        CHECK((!synced || bytes.size() / 2000 >= at.promised));
        check_integrity(path);
    }
}

} // namespace
} // namespace turnstone
