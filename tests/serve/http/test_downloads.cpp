/// Files of recordings over HTTP: they fill no disk, take no lock away, and end some time.
#include <catch2/catch.hpp>

#include <chrono>
#include <fcntl.h>
#include <fstream>
#include <sys/wait.h>
#include <thread>
#include <unistd.h>

#include "server/record/format/sqlite.hpp"
#include "server/serve/http/recordings/downloads.hpp"
#include "tests/serve/fixture.hpp"
#include "tests/support/recorder_settings.hpp"

using namespace turnstone;
using namespace std::chrono_literals;

namespace {

constexpr const char* kClosed = "2026-05-16T080000Z-sanderling";

/// A closed recording of some megabytes: more than sockets hold.
void make_large_recording(const std::filesystem::path& path) {
    const test::TemporaryFolder other;
    const std::string id = record_flight(other.path());
    std::filesystem::copy_file(other.recording(id), path);
    Database database(path, Database::Mode::read_write);
    database.execute("CREATE TABLE filler (bytes BLOB); INSERT INTO filler VALUES (randomblob(12000000))");
}

std::string content_of(const std::filesystem::path& path) {
    std::ifstream file(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(file), {}};
}

std::string request_for(const std::string& what) {
    return "GET /api/recordings/" + what + "/download HTTP/1.1\r\nHost: localhost\r\n\r\n";
}

/// Whether another process sees a lock of this one on the file. SQLite's locks lie at 2^30 (sqlite.org/src, os.h).
bool is_locked(const std::filesystem::path& path) {
    const pid_t child = ::fork();
    if (child == 0) {
        const int file = ::open(path.c_str(), O_RDWR | O_CLOEXEC);
        struct flock lock {};
        lock.l_type = F_WRLCK;
        lock.l_whence = SEEK_SET;
        lock.l_start = 0x40000000;
        lock.l_len = 512;
        ::_exit(file >= 0 && ::fcntl(file, F_GETLK, &lock) == 0 && lock.l_type != F_UNLCK ? 1 : 0);
    }
    int status = 0;
    ::waitpid(child, &status, 0);
    return WIFEXITED(status) && WEXITSTATUS(status) == 1;
}

std::vector<std::string> copies_in(const test::TemporaryFolder& folder) {
    std::vector<std::string> found = folder.names();
    std::erase_if(found, [](const std::string& name) { return !name.starts_with(".copy-"); });
    return found;
}

/// A recording under way under the live tape's id.
struct RecordedLive {
    RecordedLive() : recorder(settings(), *golden_setup()) {
        id = begin_recording(recorder, *golden_schema());
        auto batch = std::make_shared<Batch>();
        for (int i = 0; i < 100; ++i) add_row(*batch, 0, i * 0.005, {1.0, 2.0});
        recorder.push(batch, {});
        REQUIRE(recorder.flush(10'000));
        REQUIRE(id == kTapeId);
    }
    [[nodiscard]] RecorderSettings settings() const {
        RecorderSettings made = test::recorder_settings(live.folder.path());
        made.sync_every_commit = false;
        return made;
    }
    LiveServer live;
    Recorder recorder;
    std::string id;
};

} // namespace

TEST_CASE("a closed recording is sent as it is, without a copy") {
    const LiveServer live;
    const std::filesystem::path path = live.folder.recording(kClosed);
    make_large_recording(path);
    const RawClient slow(live.port(), "", 16 << 10);
    slow.send(request_for(kClosed));
    REQUIRE(slow.read(1000).starts_with("HTTP/1.1 200"));
    CHECK(copies_in(live.folder).empty());
    CHECK(live.folder.names().size() == 1);
    const HttpReply whole = live.get(std::string("/api/recordings/") + kClosed + "/download");
    CHECK(whole.status == 200);
    CHECK(whole.body == content_of(path));
}

TEST_CASE("a download takes no lock from those who read the same file in this process") {
    const LiveServer live;
    const std::filesystem::path path = live.folder.recording(kClosed);
    make_large_recording(path);
    Database reader(path, Database::Mode::read_only);
    reader.execute("BEGIN");
    CHECK(reader.integer("SELECT count(*) FROM meta") > 0);
    REQUIRE(is_locked(path));
    CHECK(live.get(std::string("/api/recordings/") + kClosed + "/download").status == 200);
    while (live.get("/api/counters").body.find("turnstone_budget_used{budget=\"downloads\"} 0\n") == std::string::npos)
        std::this_thread::yield(); // until the server has closed the file
    CHECK(is_locked(path));
}

TEST_CASE("an address has one download at a time, until it has been sent or dropped") {
    const LiveServer live;
    make_large_recording(live.folder.recording(kClosed));
    const std::string target = std::string("/api/recordings/") + kClosed + "/download";
    const auto from = [&](const char* address) { return http_request(live.port(), "GET", target, {}, "", address); };
    {
        const RawClient slow(live.port(), kOneVisitor, 16 << 10);
        slow.send(request_for(kClosed));
        REQUIRE(slow.read(1000).starts_with("HTTP/1.1 200"));
        const HttpReply refused = from(kOneVisitor);
        CHECK(refused.status == 503);
        CHECK(refused.field("Retry-After") == "2");
        CHECK(refused.json().at("error").get<std::string>().find("too many downloads for one address (at most 1)") ==
              0);
        CHECK(from(kOtherVisitor).status == 200);
    }
    unsigned status = 0; // the server learns of the hang-up at its next write
    for (int tries = 0; tries < 500 && status != 200; ++tries) status = from(kOneVisitor).status;
    CHECK(status == 200);
}

TEST_CASE("a live recording is sent from a copy that has no name, one at a time") {
    RecordedLive recorded;
    const HttpReply file = recorded.live.get("/api/recordings/live/download");
    REQUIRE(file.status == 200);
    CHECK(file.field("Content-Disposition") == std::string("attachment; filename=\"") + kTapeId + ".sqlite\"");
    CHECK(copies_in(recorded.live.folder).empty());
    const std::filesystem::path copy = recorded.live.folder.path() / "copy.sqlite";
    std::ofstream(copy, std::ios::binary) << file.body;
    Database database(copy, Database::Mode::read_only);
    CHECK(database.text("PRAGMA integrity_check") == "ok");
    CHECK(database.text("SELECT value FROM meta WHERE key = 'ended'") == "snapshot");
    const auto given_back = [&] {
        const std::string none_used = "turnstone_budget_used{budget=\"disk_copies\"} 0\n";
        return recorded.live.get("/api/counters").body.find(none_used) != std::string::npos;
    };
    bool back = false; // the server lets go of the copy after its last write, which the client may read before that
    for (int tries = 0; tries < 500 && !back; ++tries) back = given_back();
    CHECK(back);
}

TEST_CASE("HEAD tells what a download would be and copies nothing") {
    RecordedLive recorded;
    const auto head = [&](const std::string& id) {
        return http_request(recorded.live.port(), "HEAD", "/api/recordings/" + id + "/download");
    };
    const std::filesystem::path written = recorded.live.folder.path();
    const auto before = std::filesystem::last_write_time(written); // of the folder: a copy would change it
    const HttpReply live = head("live");
    CHECK(live.status == 200);
    CHECK(live.field("Content-Type") == "application/vnd.sqlite3");
    CHECK(
        live.field("Content-Length").empty()); // RFC 9110 section 9.3.2: what only the body would tell may be left out
    CHECK(std::filesystem::last_write_time(written) == before);
    make_large_recording(recorded.live.folder.recording(kClosed));
    CHECK(head(kClosed).field("Content-Length") ==
          std::to_string(std::filesystem::file_size(recorded.live.folder.recording(kClosed))));
}

TEST_CASE("a recording that is being sent can be renamed, and the download ends") {
    const LiveServer live;
    make_large_recording(live.folder.recording(kClosed));
    const RawClient slow(live.port(), "", 16 << 10);
    slow.send(request_for(kClosed));
    REQUIRE(slow.read(1000).starts_with("HTTP/1.1 200"));
    CHECK(
        live.post(std::string("/api/recordings/") + kClosed + "/meta", R"({"name":"Renamed"})", live.operator_cookie())
            .status == 200);
    CHECK(slow.read(20'000'000).size() < 12'000'000); // its length was promised, so the client knows
}

TEST_CASE("a copy leaves room for what is being recorded") {
    constexpr std::uint64_t kGiB = 1u << 30;
    struct Case {
        std::uint64_t bytes, available, capacity;
        bool allowed;
    };
    const Case cases[] = {
        {0, 10, 100, true},
        {1, 10, 100, false}, // a tenth of the disk stays free
        {40, 50, 100, true},
        {41, 50, 100, false},
        {kGiB, 2 * kGiB, 100 * kGiB, true}, // on a large disk 1 GiB
        {kGiB + 1, 2 * kGiB, 100 * kGiB, false},
        {1, 0, 100, false},
        {~std::uint64_t{0}, kGiB, 2 * kGiB, false},
    };
    for (const Case& c : cases) {
        INFO(c.bytes << " of " << c.available << " on " << c.capacity);
        const auto allowed = room_for_copy(c.bytes, c.available, c.capacity);
        CHECK(allowed.has_value() == c.allowed);
        if (!allowed) CHECK(allowed.error().message.find("stay free for what is being recorded") != std::string::npos);
    }
}

TEST_CASE("a copy ends when the room it needs goes away meanwhile") {
    const test::TemporaryFolder folder;
    make_large_recording(folder.recording(kClosed));
    auto reader = RecordingReader::open(folder.recording(kClosed));
    REQUIRE(reader);
    int asked = 0;
    const auto copied = reader->snapshot(folder.path() / "copy.sqlite", [&](std::uint64_t left) -> Result<void> {
        CHECK(left > 0);
        return ++asked < 3 ? Result<void>() : fail("no room");
    });
    REQUIRE_FALSE(copied);
    CHECK(copied.error().message == "no room");
    CHECK(asked == 3);
}

TEST_CASE("a download that hardly moves is given up") {
    CHECK_FALSE(is_too_slow(0, 29s));
    CHECK(is_too_slow(0, 31s));
    CHECK_FALSE(is_too_slow(70 << 10, 31s));
    CHECK(is_too_slow(1 << 20, 60s));
    CHECK_FALSE(is_too_slow(2 << 20, 60s));
}

TEST_CASE("what another page fetches is refused, a link to the dashboard is not") {
    const LiveServer live;
    make_large_recording(live.folder.recording(kClosed));
    const std::string target = std::string("/api/recordings/") + kClosed + "/download";
    for (const char* other : {"cross-site", "same-site"}) {
        CHECK(live.get(target, {{"Sec-Fetch-Site", other}}).status == 403);
        CHECK(live.get("/", {{"Sec-Fetch-Site", other}}).status == 200);
    }
    for (const char* own : {"same-origin", "none"}) CHECK(live.get(target, {{"Sec-Fetch-Site", own}}).status == 200);
}
