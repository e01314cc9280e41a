/// In which order reads are done when there are more than threads.
#include <catch2/catch.hpp>

#include <condition_variable>
#include <mutex>
#include <string>
#include <vector>

#include "server/serve/workers.hpp"

using namespace turnstone;

namespace {

Client visitor(const std::string& name) {
    return {.address = name, .turn = name, .is_operator = false};
}

/// Workers with jobs that keep their threads until they are let go, and notes of others in the order they were done.
class Desk {
  public:
    explicit Desk(std::size_t threads) : workers_(threads, budgets_) {}
    ~Desk() { let_go(); }
    Desk(const Desk&) = delete;
    Desk& operator=(const Desk&) = delete;

    /// Returns when a thread is busy with it.
    void occupy(Lane lane) {
        REQUIRE(workers_.submit(lane, visitor("occupier"), [this](ReaderCache&) {
            std::unique_lock lock(mutex_);
            ++occupied_;
            changed_.notify_all();
            changed_.wait(lock, [&] { return open_; });
        }));
        std::unique_lock lock(mutex_);
        const int expected = ++occupiers_;
        changed_.wait(lock, [&] { return occupied_ == expected; });
    }
    Result<void> note(Lane lane, const std::string& client, const std::string& what) {
        return workers_.submit(
            lane, visitor(client),
            [this, what](ReaderCache&) {
                const std::lock_guard lock(mutex_);
                done_.push_back(what);
                changed_.notify_all();
            });
    }
    void let_go() {
        const std::lock_guard lock(mutex_);
        open_ = true;
        changed_.notify_all();
    }
    /// The first `count` that are done.
    std::vector<std::string> done(std::size_t count) {
        std::unique_lock lock(mutex_);
        changed_.wait(lock, [&] { return done_.size() >= count; });
        return done_;
    }
    [[nodiscard]] std::size_t waiting() const { return workers_.waiting(); }

  private:
    Budgets budgets_{100};
    std::mutex mutex_; // guards the rest but the workers
    std::condition_variable changed_;
    int occupiers_ = 0, occupied_ = 0;
    bool open_ = false;
    std::vector<std::string> done_;
    Workers workers_; // first to go: its jobs use the others
};

} // namespace

TEST_CASE("clients take turns, however many jobs each brings") {
    Desk desk(2);
    desk.occupy(Lane::stored); // the only thread that may read what is not live
    for (const char* what : {"a1", "a2", "a3"}) REQUIRE(desk.note(Lane::stored, "a", what));
    for (const char* what : {"b1", "b2"}) REQUIRE(desk.note(Lane::stored, "b", what));
    REQUIRE(desk.note(Lane::stored, "c", "c1"));
    CHECK(desk.waiting() == 6);
    desk.let_go();
    CHECK(desk.done(6) == std::vector<std::string>{"a1", "b1", "c1", "a2", "b2", "a3"});
}

TEST_CASE("reads of the live recording find a thread while others wait") {
    Desk desk(2);
    desk.occupy(Lane::stored);
    REQUIRE(desk.note(Lane::stored, "a", "stored"));
    REQUIRE(desk.note(Lane::live, "b", "live"));
    CHECK(desk.done(1) == std::vector<std::string>{"live"});
    desk.let_go();
    CHECK(desk.done(2) == std::vector<std::string>{"live", "stored"});
}

TEST_CASE("live reads go first, and do not starve the others") {
    Desk desk(2);
    for (int thread = 0; thread < 2; ++thread) desk.occupy(Lane::live);
    REQUIRE(desk.note(Lane::stored, "a", "stored"));
    for (int i = 0; i < 20; ++i) REQUIRE(desk.note(Lane::live, "b", "live"));
    desk.let_go();
    const std::vector<std::string> done = desk.done(21);
    CHECK(done.front() == "live");
    CHECK(done.back() == "live");
}

TEST_CASE("slow jobs hold up nobody, and one leaves room for another") {
    Desk desk(2);
    desk.occupy(Lane::slow);
    REQUIRE(desk.note(Lane::slow, "a", "search"));
    CHECK(desk.done(1).back() == "search");
    desk.occupy(Lane::slow);
    for (const Lane lane : {Lane::live, Lane::stored}) REQUIRE(desk.note(lane, "b", "read"));
    CHECK(desk.done(3).back() == "read");
}

TEST_CASE("a client's jobs are not more than its budget") {
    Desk desk(2);
    desk.occupy(Lane::stored);
    std::size_t taken = 0;
    while (desk.note(Lane::stored, "a", "read")) REQUIRE(++taken < 1000);
    CHECK(taken == Budgets(100).limit(Budget::reads).per_address);
    CHECK(desk.note(Lane::stored, "a", "read").error().message.find("try again in a moment") != std::string::npos);
    CHECK(desk.note(Lane::stored, "b", "read"));
    desk.let_go();
    desk.done(taken + 1);
}
