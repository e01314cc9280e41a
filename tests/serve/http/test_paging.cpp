/// Answers that are bounded however much a recording holds.
#include <catch2/catch.hpp>

#include "tests/serve/fixture.hpp"
#include "tests/support/recorder_settings.hpp"

using namespace turnstone;
using nlohmann::json;

namespace {

/// A recording with so many events, found in this order but not all in the order they happened.
std::string record_events(const std::filesystem::path& folder, int count) {
    Recorder recorder(test::recorder_settings(folder), *golden_setup());
    std::string id = begin_recording(recorder, *golden_schema());
    auto batch = std::make_shared<Batch>();
    add_row(*batch, 0, 0, {0.0, 0.0});
    for (int i = 0; i < count; ++i) batch->events.push_back(note_event(i % 2 == 0 ? i : i - 1.5, std::to_string(i)));
    recorder.push(batch, {});
    REQUIRE(recorder.flush(10'000));
    return id;
}

std::vector<std::string> texts(const json& page) {
    std::vector<std::string> out;
    for (const json& event : page.at("events")) out.push_back(event.at("data").at("text"));
    return out;
}

} // namespace

TEST_CASE("events come in pages, each once, in the order they were found") {
    const LiveServer live({}, false);
    const std::string base = "/api/recordings/" + record_events(live.folder.path(), 2500) + "/events";
    std::vector<std::string> all;
    json next = 0;
    for (int pages = 0; !next.is_null(); ++pages) {
        REQUIRE(pages < 3);
        const json page = live.get(base + "?after=" + next.dump()).json();
        CHECK(page.at("events").size() <= 1000);
        for (std::string& text : texts(page)) all.push_back(std::move(text));
        next = page.at("next");
    }
    REQUIRE(all.size() == 2500);
    for (std::size_t i = 0; i < all.size(); ++i) CHECK(all[i] == std::to_string(i));

    const json three = live.get(base + "?limit=3").json();
    CHECK(texts(three) == std::vector<std::string>{"0", "1", "2"});
    CHECK(texts(live.get(base + "?limit=2&after=" + three.at("next").dump()).json()) ==
          std::vector<std::string>{"3", "4"});
    const json window = live.get(base + "?from_s=10&to_s=12").json();
    CHECK(texts(window) == std::vector<std::string>{"10", "13"}); // at 10 s and at 11.5 s
    CHECK(window.at("next").is_null());
    for (const char* wrong : {"?limit=0", "?limit=1001", "?after=-1", "?after=x"})
        CHECK(live.get(base + wrong).status == 400);
}
