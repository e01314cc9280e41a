/// An operator's action is answered once it is in the recording, or with why it is not.
#include <catch2/catch.hpp>

#include <chrono>
#include <future>
#include <mutex>
#include <thread>
#include <vector>

#include "tests/serve/fixture.hpp"

using namespace turnstone;
using nlohmann::json;

namespace {

/// Receipts of actions that the disk has not taken yet.
struct Disk {
    std::mutex mutex;
    std::vector<OwedReceipt> waiting;

    std::function<void(OwedReceipt)> takes_none() {
        return [this](OwedReceipt receipt) {
            const std::lock_guard lock(mutex);
            waiting.push_back(std::move(receipt));
        };
    }
    std::size_t count() {
        const std::lock_guard lock(mutex);
        return waiting.size();
    }
    void take_all() {
        const std::lock_guard lock(mutex);
        for (OwedReceipt& receipt : waiting) receipt.give();
        waiting.clear();
    }
};

const std::vector<std::pair<std::string, std::string>> kActs{
    {"/api/live/note", R"({"text":"windy"})"},
    {"/api/live/recording", R"({"name":"second flight"})"},
    {"/api/live/answer", R"({"position":"weather","go":true,"by":"KL"})"},
    {"/api/recordings/live/meta", R"({"name":"n","notes":"m"})"}};

} // namespace

TEST_CASE("an action is answered once it is in the recording, and not before") {
    Disk disk;
    LiveServer live;
    live.record_by(disk.takes_none());
    const Fields cookie = live.operator_cookie();
    for (const auto& [target, body] : kActs) {
        INFO(target);
        const std::size_t parts = target.ends_with("meta") ? 2 : 1;
        auto reply =
            std::async(std::launch::async, [&, to = target, what = body] { return live.post(to, what, cookie); });
        while (disk.count() < parts) std::this_thread::yield();
        CHECK(live.get("/api/session").status == 200); // others are served meanwhile
        CHECK(reply.wait_for(std::chrono::milliseconds(0)) == std::future_status::timeout);
        disk.take_all();
        const HttpReply answered = reply.get();
        CHECK(answered.status == 200);
        CHECK(answered.json() == json::object());
    }
}

TEST_CASE("an action that is not in the recording is answered with why it is not") {
    LiveServer live;
    const Fields cookie = live.operator_cookie();
    live.record_by([](OwedReceipt receipt) { receipt.give("disk full in /flights: delete something there"); });
    for (const auto& [target, body] : kActs) {
        INFO(target);
        const HttpReply reply = live.post(target, body, cookie);
        CHECK(reply.status == 202);
        CHECK(reply.json() ==
              json{{"recorded", false},
                   {"why", "done, but not in the recording: disk full in /flights: delete something there"}});
    }
    live.record_by([](OwedReceipt) {}); // dropped on the way
    CHECK(live.post("/api/live/note", R"({"text":"windy"})", cookie).status == 202);
    Disk disk; // one that hangs
    live.record_by(disk.takes_none());
    const HttpReply late = live.post("/api/live/note", R"({"text":"windy"})", cookie);
    CHECK(late.status == 202);
    CHECK(late.json().at("why") == "done, but not in the recording: the disk has not taken it yet");
    live.record_by([](OwedReceipt receipt) { receipt.give(); });
    CHECK(live.post("/api/live/note", R"({"text":"calm"})", cookie).status == 200);
}
