// What a station publishes is what its recordings hold: each byte once, whatever happens to the broker, the connection
// and the station.
#include <algorithm>
#include <atomic>
#include <deque>
#include <fstream>
#include <limits>
#include <map>
#include <random>
#include <thread>

#include <catch2/catch.hpp>

#include "protocol/broker/piece_order.hpp"
#include "server/pipeline/station/pipeline.hpp"
#include "server/publish/publish_queue.hpp"
#include "server/record/write/recorder.hpp"
#include "tests/support/demo_setup.hpp"
#include "tests/support/recorder_settings.hpp"
#include "tests/support/temporary_folder.hpp"

namespace turnstone {
namespace {

using namespace test;

constexpr std::int64_t kT0_ns = 1'790'000'000 * kNsPerS;
using BytesOf = std::map<std::string, std::vector<std::byte>>;

/// A station with two radios and a link of another station, that records.
class Station {
  public:
    explicit Station(const std::filesystem::path& folder)
        : setup_(setup()), schema_(Pipeline(setup_, kT0_ns).schema()), recorder_(recorder_settings(folder), setup_) {
        begin();
    }

    void begin() {
        counter_.emplace(setup_.links.size(), t_ns);
        if (!id.empty()) recorder_.tape_ended(id);
        id = recorder_.begin(schema_, {.t_start_ns = t_ns, .utc_start_ns = t_ns, .name = "", .continues = ""},
                             t_ns + 2 * kNsPerS * begun_++);
        // A flight under way goes on in it.
        if (last_.empty()) return;
        Inputs carried;
        counter_->chunk(0, t_ns, t_ns, last_, carried, true);
        recorder_.push(std::make_shared<Inputs>(std::move(carried)));
    }

    void receive(std::mt19937& random) {
        Inputs inputs;
        for (unsigned k = 1 + random() % 4; k > 0; --k) {
            const auto link = static_cast<LinkId>(random() % setup_.links.size());
            std::vector<std::byte> bytes(1 + random() % 300);
            for (std::byte& byte : bytes) byte = static_cast<std::byte>(random());
            counter_->chunk(link, t_ns, t_ns, bytes, inputs);
            if (link == 0) last_ = bytes;
            auto& all = received[setup_.links[link].name];
            all.insert(all.end(), bytes.begin(), bytes.end());
            if (random() % 3 == 0) counter_->action(t_ns, Note{"between"}, inputs);
        }
        recorder_.push(std::make_shared<Inputs>(std::move(inputs)));
    }
    [[nodiscard]] bool flush() { return recorder_.flush(10'000); }

    std::int64_t t_ns = kT0_ns;
    std::string id;
    BytesOf received; ///< by link

  private:
    static PipelineSetup setup() {
        PipelineSetup out = demo_setup();
        out.links.push_back({"mast", "serial:/dev/ttyUSB1", 0});
        out.links.push_back({"boat", "broker:boat/radio", 0});
        return out;
    }
    PipelineSetup setup_;
    Schema schema_;
    Recorder recorder_;
    std::optional<InputCounter> counter_;
    std::vector<std::byte> last_;
    std::int64_t begun_ = 0;
};

/// Who listens at the broker.
class Listener {
  public:
    void take(const PublishQueue::Message& message, std::int64_t now_ns) {
        const auto piece = read_piece(message.payload);
        REQUIRE(piece);
        orders_[message.link].take(message.payload, *piece, now_ns, into(message.link));
    }
    /// Nothing more comes.
    void end(std::int64_t now_ns) {
        for (auto& [link, order] : orders_) order.look(now_ns + PieceOrder::kGapMost_ns, into(link));
    }
    PieceOrder::OnPiece into(const std::string& link) {
        return [this, link](const Piece& piece, std::size_t known, std::uint64_t missing_bytes) {
            missing += missing_bytes;
            repeated += known;
            for (const PieceChunk& chunk : piece.chunks) {
                const std::size_t skipped = std::min(known, chunk.bytes.size());
                known -= skipped;
                auto& all = heard[link];
                all.insert(all.end(), chunk.bytes.begin() + static_cast<std::ptrdiff_t>(skipped), chunk.bytes.end());
            }
        };
    }
    BytesOf heard;
    std::uint64_t missing = 0, repeated = 0;

  private:
    std::map<std::string, PieceOrder> orders_;
};

TEST_CASE("Lost connections, killed brokers and restarts of the station: each byte comes once, in order") {
    std::uint64_t repeated = 0;
    for (unsigned seed = 1; seed <= 6; ++seed) {
        INFO("seed " << seed);
        std::mt19937 random(seed);
        const TemporaryFolder folder;
        Station station(folder.path());
        Listener listener;
        auto queue = std::make_unique<PublishQueue>(folder.path(), 1);
        queue->begins(station.id);
        REQUIRE(queue->save());
        // The listener knows each link: one that joins later gets what comes from then on.
        while (station.received.size() < 3) station.receive(random);
        REQUIRE(station.flush());
        while (const auto parcel = queue->next(station.t_ns)) {
            for (const auto& message : parcel->messages) listener.take(message, station.t_ns);
            queue->acknowledged(parcel->number);
        }
        struct InBroker {
            std::int64_t t_ns;
            PublishQueue::Message message;
        };
        std::deque<InBroker> broker;                  // acknowledged, and not handed on yet
        bool cut = false;                             // what is sent goes nowhere
        std::int64_t deaf_until_ns = 0, again_ns = 0; // the listener is not back yet; when all are taken to be
        const auto publish = [&](std::size_t parcels) {
            while (parcels-- > 0) {
                const auto parcel = queue->next(station.t_ns);
                if (!parcel) return;
                cut = cut || random() % 12 == 0;
                if (cut) continue;
                if (station.t_ns >= deaf_until_ns)
                    for (const auto& message : parcel->messages) broker.push_back({station.t_ns, message});
                if (random() % 8 > 0) queue->acknowledged(parcel->number); // or it is on its way
            }
        };
        const auto hand_on = [&](std::int64_t older_ns) {
            for (; !broker.empty() && station.t_ns - broker.front().t_ns >= older_ns; broker.pop_front())
                listener.take(broker.front().message, station.t_ns);
        };
        for (int step = 0; step < 120; ++step) {
            station.t_ns += kNsPerS;
            station.receive(random);
            REQUIRE(station.flush());
            publish(random() % 4);
            hand_on((random() % 4) * kNsPerS);
            if (again_ns > 0 && station.t_ns >= again_ns) {
                again_ns = 0;
                queue->send_again(station.t_ns);
            }
            const auto what = random() % 30;
            if (what == 0) { // the station begins another recording
                queue->let_go();
                station.begin();
                queue->begins(station.id);
                REQUIRE(queue->save());
            } else if (what == 1 && again_ns == 0) { // the station is killed, and started again
                hand_on(0);
                cut = false;
                queue = std::make_unique<PublishQueue>(folder.path(), 2 + static_cast<std::uint64_t>(step));
                queue->begins(station.id);
            } else if (what == 2 && again_ns == 0) {
                broker.clear(); // killed
                queue->send_again(station.t_ns);
                cut = false;
                deaf_until_ns = station.t_ns + static_cast<std::int64_t>(random() % 6) * kNsPerS;
                again_ns = station.t_ns + 10 * kNsPerS;
            } else if (what < 6) {
                REQUIRE(queue->save());
            }
            if (cut && random() % 5 == 0) {
                hand_on(0);
                queue->send_again(station.t_ns);
                cut = false;
            }
        }
        REQUIRE(station.flush());
        hand_on(0);
        queue->send_again(station.t_ns);
        cut = false;
        for (int turn = 0; turn < 3; ++turn) {
            station.t_ns += 40 * kNsPerS; // past a recording that is still being closed
            while (const auto parcel = queue->next(station.t_ns)) {
                for (const auto& message : parcel->messages) listener.take(message, station.t_ns);
                queue->acknowledged(parcel->number);
            }
        }
        listener.end(station.t_ns);
        station.received.erase("boat"); // is not this station's to publish
        CHECK(listener.heard == station.received);
        CHECK(listener.missing == 0);
        CHECK(queue->bytes_left_out() == 0);
        repeated += listener.repeated;
    }
    CHECK(repeated > 0); // otherwise nothing was tried
}

TEST_CASE("What is committed while the end of a recording is looked for is published like the rest") {
    const TemporaryFolder folder;
    Station station(folder.path());
    PublishQueue queue(folder.path(), 1, {.wait_most_ns = std::numeric_limits<std::int64_t>::max()});
    queue.begins(station.id);
    std::atomic<bool> over = false;
    std::thread recording([&] {
        std::mt19937 random(1);
        for (int k = 0; k < 400; ++k) {
            station.receive(random);
            if (!station.flush()) break;
        }
        over = true;
    });
    Listener listener;
    for (std::int64_t now_ns = kT0_ns; true; now_ns += kNsPerS) {
        const bool last = over;
        while (const auto parcel = queue.next(now_ns)) {
            for (const auto& message : parcel->messages) listener.take(message, now_ns);
            queue.acknowledged(parcel->number);
        }
        if (last) break;
    }
    recording.join();
    station.received.erase("boat"); // another station's
    CHECK(listener.heard == station.received);
}

TEST_CASE("What has waited for too long is left out and counted, here and there") {
    std::mt19937 random(7);
    const TemporaryFolder folder;
    Station station(folder.path());
    PublishQueue queue(folder.path(), 1, {.wait_most_ns = 10 * kNsPerS});
    queue.begins(station.id);
    Listener listener;
    const auto publish_all = [&] {
        while (const auto parcel = queue.next(station.t_ns)) {
            for (const auto& message : parcel->messages) listener.take(message, station.t_ns);
            queue.acknowledged(parcel->number);
        }
    };
    for (int step = 0; step < 40; ++step) {
        station.t_ns += kNsPerS;
        station.receive(random);
        REQUIRE(station.flush());
        if (step < 5 || step > 30) publish_all();
    }
    publish_all();
    listener.end(station.t_ns);
    station.received.erase("boat");
    std::uint64_t received = 0, heard = 0;
    for (const auto& [link, bytes] : station.received) received += bytes.size();
    for (const auto& [link, bytes] : listener.heard) heard += bytes.size();
    CHECK(queue.bytes_left_out() > 0);
    CHECK(listener.missing == queue.bytes_left_out());
    CHECK(heard + queue.bytes_left_out() == received);
}

TEST_CASE("A recording that lost its end to a pulled plug goes on as another stream, behind what was published") {
    std::mt19937 random(3);
    const TemporaryFolder folder;
    Station station(folder.path());
    station.receive(random);
    const BytesOf before = station.received;
    const std::int64_t t_published_ns = station.t_ns;
    station.t_ns += kNsPerS;
    station.receive(random);
    REQUIRE(station.flush());
    PublishState state{.recordings = {station.id}, .place = {.stream = 77, .next_input = 500}};
    state.place.t_last_ns = t_published_ns;
    state.place.offsets["radio"] = 12345;
    REQUIRE(write_publish_state(folder.path() / "publishing.json", state));
    PublishQueue queue(folder.path(), 1);
    queue.begins(station.id);
    Listener listener;
    while (const auto parcel = queue.next(station.t_ns))
        for (const auto& message : parcel->messages) {
            listener.take(message, station.t_ns);
            CHECK(read_piece(message.payload)->head.stream != 77);
        }
    for (const auto& [link, bytes] : station.received) {
        if (link == "boat") continue;
        INFO(link);
        const auto known = before.find(link);
        const std::size_t old_bytes = known == before.end() ? 0 : known->second.size();
        CHECK(std::ranges::equal(listener.heard[link], std::span(bytes).subspan(old_bytes)));
    }
}

TEST_CASE("The state file is read as it was written, and anything else begins a new stream") {
    const PublishState state{.recordings = {"2026-05-17T143205Z-sanderling", "another"},
                             .place = {.stream = 0xfedcba9876543210,
                                       .next_input = 1u << 30,
                                       .t_last_ns = kT0_ns,
                                       .offsets = {{"mast", 0}, {"radio", std::uint64_t{1} << 61}}}};
    const std::string text = to_json(state);
    CHECK(publish_state_from_json(text) == state);
    for (std::size_t size = 0; size + 2 < text.size(); ++size) {
        INFO(size);
        CHECK(!publish_state_from_json(text.substr(0, size)));
    }
    for (const char* wrong : {"null", "[]", R"({"stream":1})", R"({"stream":"x","recordings":[],"offsets":{}})",
                              R"({"stream":"1","next_input":"0","t_last_ns":"0","recordings":[1],"offsets":{}})",
                              R"({"stream":"1","next_input":"-1","t_last_ns":"0","recordings":[],"offsets":{}})"}) {
        INFO(wrong);
        CHECK(!publish_state_from_json(wrong));
    }
    const TemporaryFolder folder;
    std::ofstream(folder.path() / "publishing.json") << "{";
    CHECK(!read_publish_state(folder.path() / "publishing.json"));
    PublishQueue queue(folder.path(), 1);
    CHECK(!queue.next(kT0_ns));
    CHECK(queue.save());
    CHECK(read_publish_state(folder.path() / "publishing.json")->recordings.empty());
}

} // namespace
} // namespace turnstone
