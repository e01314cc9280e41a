// Which links get the vehicle's own time, and when all have ended.
#include <catch2/catch.hpp>

#include "server/ingest/capture_link.hpp"
#include "server/setup/vehicle_folder.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

Dictionary demo_dictionary() {
    std::vector<Problem> problems;
    std::vector<VehicleSetup> vehicles = read_vehicle_folders({demo_path("sanderling")}, problems);
    REQUIRE(problems.empty());
    return std::move(vehicles.front().dictionary);
}

/// What a link told its handler, in order.
struct Told {
    std::vector<std::string> what;
    LinkHandler handler() {
        return {
            .on_bytes =
                [this](std::int64_t, std::int64_t, std::span<const std::byte> bytes) {
                    what.push_back(std::to_string(bytes.size()) + " bytes");
                },
            .on_state = [this](std::int64_t, LinkState state, const std::string&) { what.emplace_back(word(state)); },
            .may_read = [] { return false; }};
    }
};

} // namespace

TEST_CASE("All links have ended when each is at the end of its file, and there is one") {
    struct Case {
        std::vector<LinkState> states;
        bool ended;
    };
    using enum LinkState;
    const Case cases[] = {{{}, false},
                          {{end_of_file}, true},
                          {{open}, false},
                          {{end_of_file, end_of_file}, true},
                          {{end_of_file, cannot_open}, false},
                          {{opening, end_of_file}, false}};
    for (const Case& one : cases) {
        std::vector<LinkView> links;
        for (const LinkState state : one.states) {
            links.emplace_back();
            links.back().state = state;
        }
        CHECK(all_ended(links) == one.ended);
    }
}

TEST_CASE("A recording of a file does not go on: the file is read from its start") {
    const auto reads = [](const std::vector<std::string>& texts) {
        std::vector<LinkUri> uris;
        for (const std::string& text : texts) uris.push_back(parse_link_uri(text).value());
        return reads_files(uris);
    };
    CHECK_FALSE(reads({}));
    CHECK_FALSE(reads({"udp://0.0.0.0:9000"}));
    CHECK(reads({"file:a"}));
    CHECK(reads({"udp://0.0.0.0:9000", "file:a?pace=9600"}));
}

TEST_CASE("Every link hands on every byte before it says that it has ended, and asks before it reads") {
    const Dictionary dictionary = demo_dictionary();
    for (const char* uri : {"file:a", "file:a?pace=9600", "udp://0.0.0.0:9000"}) {
        INFO(uri);
        Told told;
        const LinkHandler handler = with_capture_time(parse_link_uri(uri).value(), dictionary, told.handler());
        CHECK_FALSE(handler.may_read());
        const std::vector<std::byte> bytes(100, std::byte{7});
        handler.on_state(1, LinkState::open, "");
        handler.on_bytes(2, 3, bytes);
        handler.on_state(4, LinkState::end_of_file, "");
        CHECK(told.what == std::vector<std::string>{"open", "100 bytes", "end_of_file"});
    }
}
