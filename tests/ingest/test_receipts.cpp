// What people do is in the recording when they are told so, and takes effect in the one that goes on.
#include <algorithm>
#include <chrono>
#include <limits>
#include <memory>
#include <mutex>
#include <thread>
#include <vector>

#include <catch2/catch.hpp>

#include "server/ingest/ingest.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/write/repair.hpp"
#include "server/setup/serve_setup.hpp"
#include "tests/support/recorder_settings.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;
using namespace std::chrono_literals;

namespace {

/// A station with the demo's vehicle and a link that brings nothing.
struct SilentStation {
    static ServeSetup demo() {
        Settings settings;
        settings.vehicles = {demo_path("sanderling")};
        settings.site = demo_path("site.json");
        settings.links = {parse_link_uri("file:/nonexistent.bin?name=radio").value()};
        std::vector<Problem> problems;
        auto setup = read_setup(settings, problems);
        INFO(to_string(problems));
        REQUIRE(setup);
        return std::move(*setup);
    }

    TemporaryFolder folder;
    ServeSetup setup = demo();
    std::mutex mutex;
    std::vector<LiveTape> tapes;
    Recorder recorder{recorder_settings(folder.path()), *setup.pipeline};
    Ingest ingest{setup.pipeline,
                  std::move(setup.uris),
                  folder.path(),
                  recorder,
                  {[this](LiveTape tape) {
                       const std::lock_guard lock(mutex);
                       tapes.push_back(std::move(tape));
                   },
                   [](const std::shared_ptr<const Batch>&) {}}};

    /// Of the recordings, in order, as anybody who opens the files at this moment finds them.
    [[nodiscard]] std::vector<std::vector<Action>> stored() const {
        std::vector<std::vector<Action>> out;
        for (const auto& path : recording_files(folder.path())) {
            auto reader = RecordingReader::open(path);
            REQUIRE(reader);
            out.emplace_back();
            reader->inputs([](const ChunkRecord&, std::span<const std::byte>) {},
                           [&](const ActionRecord& action) { out.back().push_back(action.action); });
        }
        return out;
    }
};

std::string said_of(const Receipt& receipt) {
    for (int i = 0; i < 1000; ++i, std::this_thread::sleep_for(10ms))
        if (const auto said = receipt.said()) return *said;
    return "nothing for ten seconds";
}

bool holds(const std::vector<Action>& actions, const Action& wanted) {
    return std::ranges::find(actions, wanted) != actions.end();
}

const ProcedureCommand kBegin{"sanderling", "dry-run", ProcedureStep::begin, "KL"};

} // namespace

TEST_CASE("An action of the first moment is in the file when its receipt is given") {
    SilentStation station;
    const auto receipt = std::make_shared<Receipt>();
    station.ingest.action(kBegin, OwedReceipt(receipt)); // before there is a recording
    station.ingest.start();
    CHECK(said_of(*receipt).empty());
    REQUIRE(station.stored().size() == 1);
    CHECK(holds(station.stored().front(), kBegin));
}

TEST_CASE("An action that comes while a new recording is asked for is of the new one, also at the very end") {
    const bool stops = GENERATE(false, true);
    SilentStation station;
    station.ingest.start();
    const auto asked = std::make_shared<Receipt>(), begun = std::make_shared<Receipt>();
    station.ingest.new_recording("second", OwedReceipt(asked));
    station.ingest.action(kBegin, OwedReceipt(begun));
    if (stops) {
        station.ingest.stop();
        REQUIRE(station.recorder.flush(5000));
        CHECK(begun->said() == ""); // in one of the two
        std::size_t found = 0;
        for (const auto& actions : station.stored()) found += holds(actions, kBegin);
        CHECK(found == 1);
        return;
    }
    CHECK(said_of(*asked).empty());
    CHECK(said_of(*begun).empty());
    REQUIRE(station.stored().size() == 2);
    CHECK_FALSE(holds(station.stored().front(), kBegin));
    CHECK(holds(station.stored().back(), kBegin));
    station.ingest.stop();
    REQUIRE(station.recorder.flush(5000));
    // Its procedure is under way there.
    auto reader = RecordingReader::open(recording_files(station.folder.path()).back());
    REQUIRE(reader);
    const auto events = reader->events(0, std::numeric_limits<std::int64_t>::max());
    CHECK(std::ranges::count(events, std::optional(EventId::procedure_begun), &Event::id) == 1);
}

TEST_CASE("A station that ends gives every receipt") {
    std::vector<std::shared_ptr<Receipt>> receipts;
    {
        SilentStation station;
        station.ingest.start();
        for (int k = 0; k < 50; ++k) {
            receipts.push_back(std::make_shared<Receipt>());
            station.ingest.action(Note{.text = std::to_string(k)}, OwedReceipt(receipts.back()));
        }
        station.ingest.stop();
        receipts.push_back(std::make_shared<Receipt>());
        station.ingest.action(Note{.text = "too late"}, OwedReceipt(receipts.back()));
    }
    for (std::size_t k = 0; k + 1 < receipts.size(); ++k) CHECK(receipts[k]->said() == "");
    REQUIRE(receipts.back()->said());
    CHECK_FALSE(receipts.back()->said()->empty());
}
