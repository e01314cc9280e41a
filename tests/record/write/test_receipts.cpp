// Whoever waits for something to be recorded is told when it is in the file, and why it is not.
#include <chrono>
#include <fstream>
#include <functional>
#include <memory>
#include <thread>

#include <catch2/catch.hpp>

#include "server/record/format/sqlite.hpp"
#include "server/record/write/recorder_queue.hpp"
#include "tests/record/support.hpp"

namespace turnstone {
namespace {

using namespace record_test;
using namespace std::chrono_literals;

const RecordingHead kHead{.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "", .continues = ""};

std::string told(const Receipt& receipt) {
    for (int i = 0; i < 1000; ++i, std::this_thread::sleep_for(10ms))
        if (const auto said = receipt.said()) return *said;
    return "nothing for ten seconds";
}

std::shared_ptr<const Inputs> note(std::uint64_t input, const std::string& text) {
    Inputs inputs;
    inputs.actions.push_back({.input = input, .t_ns = kStart_ns, .action = Note{.text = text}});
    return std::make_shared<const Inputs>(std::move(inputs));
}

TEST_CASE("a receipt is given once the commit is in the file, and whoever opens it then finds what it is for") {
    const TemporaryFolder directory;
    Recorder recorder({.directory = directory.path(), .commit_interval_ms = 100, .sync_every_commit = true},
                      sample_setup());
    const auto begun = std::make_shared<Receipt>();
    const std::string id = recorder.begin(sample_schema(), kHead, kStart_ns, OwedReceipt(begun));
    CHECK(told(*begun).empty());
    CHECK(std::filesystem::exists(directory.recording(id)));
    for (std::uint64_t k = 0; k < 20; ++k) {
        const auto noted = std::make_shared<Receipt>(), named = std::make_shared<Receipt>();
        recorder.push(note(k, "note " + std::to_string(k)), OwedReceipt(noted));
        recorder.set_meta("name", "name " + std::to_string(k), OwedReceipt(named));
        CHECK(told(*noted).empty());
        Database database(directory.recording(id), Database::Mode::read_only);
        CHECK(database.integer("SELECT count(*) FROM action") == static_cast<std::int64_t>(k) + 1);
        CHECK(told(*named).empty());
        CHECK(database.text("SELECT value FROM meta WHERE key = 'name'") == "name " + std::to_string(k));
    }
}

TEST_CASE("while the disk is at fault a receipt says so at once, and what it is for is kept all the same") {
    const TemporaryFolder directory;
    const auto blocked = directory.path() / "recordings";
    std::ofstream(blocked) << "a file where the directory should be";
    Recorder recorder(
        {.directory = blocked, .commit_interval_ms = 20, .sync_every_commit = true, .retry_interval_ms = 10},
        sample_setup());
    const auto begun = std::make_shared<Receipt>(), noted = std::make_shared<Receipt>();
    const std::string id = recorder.begin(sample_schema(), kHead, kStart_ns, OwedReceipt(begun));
    recorder.push(note(0, "windy"), OwedReceipt(noted));
    for (const auto& receipt : {begun, noted}) CHECK(told(*receipt).find(blocked.string()) != std::string::npos);
    std::filesystem::remove(blocked);
    const auto later = std::make_shared<Receipt>();
    recorder.push(note(1, "calm"), OwedReceipt(later));
    CHECK(told(*later).empty());
    Database database(blocked / (id + ".sqlite"), Database::Mode::read_only);
    CHECK(database.integer("SELECT count(*) FROM action") == 2);
}

TEST_CASE("what is left out says why") {
    SECTION("no recording is under way") {
        const TemporaryFolder directory;
        Recorder recorder(recorder_settings(directory.path()), sample_setup());
        const auto noted = std::make_shared<Receipt>();
        recorder.push(note(0, "windy"), OwedReceipt(noted));
        CHECK_FALSE(told(*noted).empty());
    }
    SECTION("it cannot be stored") {
        const TemporaryFolder directory;
        Recorder recorder(recorder_settings(directory.path()), sample_setup());
        recorder.begin(sample_schema(), kHead, kStart_ns);
        const auto first = std::make_shared<Receipt>(), again = std::make_shared<Receipt>();
        recorder.push(note(0, "windy"), OwedReceipt(first));
        recorder.push(note(0, "windy"), OwedReceipt(again)); // the same input number twice
        CHECK(told(*first).empty());
        CHECK(told(*again).find("cannot be recorded") == 3);
    }
    SECTION("the queue is full") {
        RecorderQueue queue(1000);
        const auto noted = std::make_shared<Receipt>();
        queue.put_inputs(note(0, std::string(5000, 'x')), OwedReceipt(noted));
        CHECK(told(*noted).find("too slow") != std::string::npos);
    }
    SECTION("its file is removed") {
        const TemporaryFolder directory;
        Recorder recorder({.directory = directory.path(), .commit_interval_ms = 20, .sync_every_commit = true},
                          sample_setup());
        const std::string id = recorder.begin(sample_schema(), kHead, kStart_ns);
        REQUIRE(recorder.flush(5000));
        for (const char* ending : {"", "-wal", "-shm"})
            std::filesystem::remove(directory.recording(id).string() + ending);
        for (int i = 0; i < 500 && !recorder.status().lost; ++i) std::this_thread::sleep_for(10ms);
        const auto noted = std::make_shared<Receipt>();
        recorder.push(note(0, "windy"), OwedReceipt(noted));
        CHECK_FALSE(told(*noted).empty());
    }
}

TEST_CASE("a receipt that goes from hand to hand is given once, by who drops it last") {
    const auto receipt = std::make_shared<Receipt>();
    {
        OwedReceipt first(receipt);
        OwedReceipt second = std::move(first);
        OwedReceipt third;
        third = std::move(second);
        CHECK_FALSE(receipt->said());
        third.give("disk full");
        third.give();
    }
    CHECK(receipt->said() == "disk full");
    const auto dropped = std::make_shared<Receipt>();
    { const OwedReceipt nobody_has_it(dropped); }
    REQUIRE(dropped->said());
    CHECK_FALSE(dropped->said()->empty());
}

} // namespace
} // namespace turnstone
