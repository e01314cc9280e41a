// Alerts in a pipeline: those that links and estimators raise themselves go through the same book as those of the
// watches, and everything that follows from recorded inputs is made again.
#include <random>

#include <catch2/catch.hpp>

#include "tests/pipeline/station.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

/// A pipeline whose alerts are looked at as they come.
struct AlertBench {
    explicit AlertBench(std::size_t links = 1) {
        std::vector<LinkSetup> all{{"radio", "test:", 0}, {"relay", "test:", 0}};
        all.resize(links);
        setup = make_setup(1, all);
        pipeline.emplace(setup, kStart_ns);
    }
    /// Everything the vehicle sends from one second to another, over each link with its losses.
    void send_over(double from_s, double to_s, const std::vector<double>& losses, std::uint32_t onboard_ms) {
        std::vector<Sent> sent;
        send(sent, kStart_ns + seconds_to_ns(from_s), seconds_to_ns(to_s - from_s), onboard_ms, count);
        count += static_cast<unsigned>((to_s - from_s) * 50);
        std::vector<Transmission> channels;
        for (std::size_t link = 0; link < losses.size(); ++link)
            channels.push_back(transmit(sent, static_cast<LinkId>(link), {.loss = losses[link]}, 7 + link));
        for (const Delivery& delivery : in_order(std::move(channels)))
            pipeline->chunk(delivery.link, delivery.t_ns, delivery.t_ns, delivery.bytes, out);
    }
    void act(double t_s, const Action& action) { pipeline->action(kStart_ns + seconds_to_ns(t_s), action, out); }
    void wait(double t_s) { pipeline->advance(kStart_ns + seconds_to_ns(t_s), out); }
    /// Of the alerts with this key: "raised", "cleared", ... in order.
    [[nodiscard]] std::vector<std::string> life(const std::string& key) const {
        std::vector<std::string> steps;
        for (const Event& event : out.events)
            if (event.key == key) steps.emplace_back(word(event.kind).substr(6));
        return steps;
    }
    [[nodiscard]] std::vector<const Event*> events(EventId id) const {
        std::vector<const Event*> all;
        for (const Event& event : out.events)
            if (event.id == id) all.push_back(&event);
        return all;
    }

    PipelineSetup setup;
    std::optional<Pipeline> pipeline;
    Batch out;
    unsigned count = 0;
};

using Life = std::vector<std::string>;

} // namespace

TEST_CASE("an alert that a link raises itself is acknowledged, shelved and cleared by its key") {
    AlertBench bench;
    const std::string key = "link/radio/down";
    bench.act(1, LinkReport{"radio", LinkState::no_data});
    bench.wait(5);
    bench.act(6, Acknowledge{key});
    bench.act(7, Shelve{key, 5});
    bench.wait(15);
    bench.act(16, LinkReport{"radio", LinkState::open});
    bench.act(16.5, LinkReport{"radio", LinkState::lost}); // still the same alert
    bench.act(17, LinkReport{"radio", LinkState::open});
    bench.wait(20);
    CHECK(bench.life(key) == Life{"raised", "acknowledged", "shelved", "unshelved", "cleared"});
    const Event& last = *bench.events(EventId::link_down).back();
    CHECK(last.t_ns == kStart_ns + 17 * kNsPerS);
    CHECK(last.t_found_ns == kStart_ns + 18 * kNsPerS);
    CHECK(last.text == "Link radio: open");
}

TEST_CASE("heavy loss is of the best link of a vehicle") {
    AlertBench bench(2);
    bench.send_over(0, 20, {0.7, 0.05}, 1000);
    CHECK(bench.events(EventId::heavy_loss).empty());
    bench.send_over(20, 40, {0.7, 0.8}, 21'000);
    const auto raised = bench.events(EventId::heavy_loss);
    REQUIRE(raised.size() == 1);
    CHECK(raised.front()->level == Level::caution);
    CHECK(seconds_between(kStart_ns, raised.front()->t_found_ns) < 32);
    for (const EventValue& value : raised.front()->values)
        if (value.name == "link") CHECK(std::get<std::string>(value.value) == "radio");
    bench.send_over(40, 60, {0.2, 0.8}, 41'000);
    CHECK(bench.life("alpha/link/heavy_loss") == Life{"raised", "cleared"});
    // In silence nothing is counted lost.
    bench.wait(120);
    CHECK(bench.life("alpha/link/heavy_loss") == Life{"raised", "cleared"});
}

TEST_CASE("a fade of four seconds is not heavy loss") {
    AlertBench bench;
    bench.send_over(0, 20, {0.1}, 1000);
    bench.count += 200; // sent, and not heard
    bench.send_over(24, 50, {0.1}, 25'000);
    CHECK(bench.events(EventId::heavy_loss).empty());
}

TEST_CASE("a reboot is an alert until an operator has seen it") {
    AlertBench bench;
    bench.send_over(0, 10, {0}, 100'000);
    bench.count = 0;
    bench.send_over(12, 20, {0}, 1000);
    CHECK(bench.events(EventId::reboot).size() == 1);
    CHECK(bench.events(EventId::reboot).front()->level == Level::note);
    CHECK(bench.life("alpha/rebooted") == Life{"raised"});
    bench.wait(100);
    bench.act(101, Acknowledge{"alpha/rebooted"});
    CHECK(bench.life("alpha/rebooted") == Life{"raised", "acknowledged", "cleared"});
}

TEST_CASE("alerts are made again from recorded inputs, however batches were cut") {
    std::mt19937_64 random(11);
    const char* const keys[] = {"link/radio/down",   "link/relay/down",       "alpha/rebooted",
                                "recording/trouble", "alpha/link/heavy_loss", "nobody/knows"};
    const PipelineSetup setup = make_setup(1, {{"radio", "test:", 0}, {"relay", "test:", 0}});
    Inputs inputs;
    InputCounter counter(2, kStart_ns);
    std::vector<Sent> sent;
    send(sent, kStart_ns, 30 * kNsPerS, 100'000, 0);
    send(sent, kStart_ns + 32 * kNsPerS, 40 * kNsPerS, 1000, 0);
    for (const Delivery& delivery :
         in_order({transmit(sent, 0, {.loss = 0.7}, 1), transmit(sent, 1, {.loss = 0.75}, 2)})) {
        counter.chunk(delivery.link, delivery.t_ns, delivery.t_ns, delivery.bytes, inputs);
        if (random() % 40 != 0) continue;
        const std::string key = keys[random() % std::size(keys)];
        const std::string link = random() % 2 == 0 ? "radio" : "relay";
        const Action actions[] = {Acknowledge{key}, Shelve{key, static_cast<double>(random() % 10)}, Unshelve{key},
                                  LinkReport{link, random() % 2 == 0 ? LinkState::open : LinkState::no_data},
                                  RecorderReport{random() % 2 == 0 ? "" : "disk slow"}};
        counter.action(delivery.t_ns, actions[random() % std::size(actions)], inputs);
    }
    Pipeline live(setup, kStart_ns);
    Batch out;
    live.take(inputs, out);

    Pipeline again(setup, kStart_ns);
    std::vector<Event> events;
    Batch part;
    const auto cut = [&] {
        events.insert(events.end(), part.events.begin(), part.events.end());
        part.clear();
    };
    for_each_input(
        inputs,
        [&](const ChunkRecord& chunk, std::span<const std::byte> bytes) {
            again.chunk(chunk.link, chunk.t_rx_ns, chunk.utc_rx_ns, bytes, part);
            if (random() % 5 == 0) cut();
        },
        [&](const ActionRecord& action) {
            again.action(action.t_ns, action_from_json(to_json(action.action)), part);
            if (random() % 5 == 0) cut();
        });
    cut();
    CHECK(events == out.events);
    std::set<EventKind> kinds;
    for (const Event& event : events) kinds.insert(event.kind);
    for (const EventKind kind : {EventKind::alert_raised, EventKind::alert_cleared, EventKind::alert_acknowledged,
                                 EventKind::alert_shelved, EventKind::alert_unshelved})
        CHECK(kinds.contains(kind));
}

TEST_CASE("a new recording begins with the alerts of the one before") {
    AlertBench before(2);
    before.send_over(0, 10, {0, 0}, 100'000);
    before.count = 0;
    before.send_over(12, 20, {0, 0}, 1000);
    before.act(20, LinkReport{"relay", LinkState::no_data});
    before.act(21, Acknowledge{"link/relay/down"});
    before.act(22, Acknowledge{"alpha/link/heavy_loss"});
    before.wait(40);
    const std::vector<Action> carried = before.pipeline->carried_actions();
    CHECK(carried.size() == 2);

    AlertBench after(2);
    for (const Action& action : carried) after.act(41, action_from_json(to_json(action)));
    after.act(41, LinkReport{"relay", LinkState::no_data}); // as the station says it at a recording's start
    after.wait(60);
    CHECK(after.life("link/relay/down") == Life{"raised", "acknowledged"});
    CHECK(after.life("alpha/rebooted") == Life{"raised"});
    after.act(61, LinkReport{"relay", LinkState::open});
    after.act(62, Acknowledge{"alpha/rebooted"});
    after.wait(63);
    CHECK(after.life("link/relay/down") == Life{"raised", "acknowledged", "cleared"});
    CHECK(after.life("alpha/rebooted") == Life{"raised", "acknowledged", "cleared"});
}
