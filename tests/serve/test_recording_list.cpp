/// The list of recordings: paged, and opened again only where something changed.
#include <catch2/catch.hpp>

#include <chrono>
#include <fstream>

#include "server/record/read/catalogue.hpp"
#include "server/serve/recording_list.hpp"
#include "tests/serve/fixture.hpp"

using namespace turnstone;
using nlohmann::json;

namespace {

std::string id_of(int number) {
    return "2026-05-16T08" + std::to_string(1000 + number).substr(1) + "0Z-sanderling";
}

/// Copies of one recording under many names.
void make_recordings(const test::TemporaryFolder& folder, int count) {
    const test::TemporaryFolder other;
    const std::string id = record_flight(other.path());
    for (int i = 0; i < count; ++i) std::filesystem::copy_file(other.recording(id), folder.recording(id_of(i)));
}

std::vector<std::string> ids(const std::vector<RecordingInfo>& infos) {
    std::vector<std::string> out;
    for (const RecordingInfo& info : infos) out.push_back(info.id);
    return out;
}

} // namespace

TEST_CASE("recordings are listed newest first, in pages") {
    const test::TemporaryFolder folder;
    make_recordings(folder, 5);
    RecordingList list(folder.path());
    CHECK(ids(list.page("", 10)) == std::vector<std::string>{id_of(4), id_of(3), id_of(2), id_of(1), id_of(0)});
    CHECK(ids(list.page("", 2)) == std::vector<std::string>{id_of(4), id_of(3)});
    CHECK(ids(list.page(id_of(3), 2)) == std::vector<std::string>{id_of(2), id_of(1)});
    CHECK(ids(list.page(id_of(1), 2)) == std::vector<std::string>{id_of(0)});
    CHECK(list.page(id_of(0), 2).empty());
}

TEST_CASE("a recording is opened once, and again when its file has changed") {
    const test::TemporaryFolder folder;
    make_recordings(folder, 3);
    RecordingList list(folder.path());
    for (int i = 0; i < 3; ++i) CHECK(list.page("", 10).size() == 3);
    CHECK(list.opened() == 3);

    const std::filesystem::path changed = folder.recording(id_of(1));
    std::filesystem::last_write_time(changed, std::filesystem::file_time_type::clock::now() - std::chrono::hours(1));
    CHECK(list.page("", 10).size() == 3);
    CHECK(list.opened() == 4);
    REQUIRE(set_recording_meta(changed, "name", "Renamed"));
    CHECK(list.page("", 10)[1].name == "Renamed");
    CHECK(list.opened() == 5);

    std::ofstream(changed.string() + "-wal") << "not empty"; // as when another server writes to it
    CHECK(list.page("", 10).size() == 3);
    CHECK(list.opened() == 6);

    std::filesystem::remove(folder.recording(id_of(2)));
    folder.write("2026-05-17T080000Z-text.sqlite", "no recording");
    const auto page = list.page("", 10);
    CHECK(page.size() == 3);
    CHECK_FALSE(page.front().damage.empty());
    CHECK(list.opened() == 7);
}

TEST_CASE("the interface gives the list in pages, with the live recording as the server knows it") {
    LiveServer live;
    make_recordings(live.folder, 5);
    const json whole = live.get("/api/recordings").json();
    CHECK(whole.at("recordings").size() == 5);
    CHECK(whole.at("next").is_null());
    CHECK(whole.at("live") == kTapeId);
    const json first = live.get("/api/recordings?limit=2").json();
    CHECK(first.at("recordings").size() == 2);
    CHECK(first.at("next") == id_of(3));
    const json last = live.get("/api/recordings?limit=3&after=" + id_of(3)).json();
    CHECK(last.at("recordings").size() == 3);
    CHECK(last.at("next").is_null());
    for (const char* wrong : {"/api/recordings?limit=0", "/api/recordings?limit=501"})
        CHECK(live.get(wrong).status == 400);

    record_flight(live.folder.path()); // its id is the live tape's
    const json listed = live.get("/api/recordings?limit=1").json().at("recordings")[0];
    CHECK(listed.at("id") == kTapeId);
    CHECK(listed.at("live") == true);
    CHECK(listed.at("name") == "First light"); // and not what the file says
}
