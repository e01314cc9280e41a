#include <catch2/catch.hpp>

#include <chrono>
#include <limits>
#include <stdexcept>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include <nlohmann/json.hpp>

#include "server/serve/jobs.hpp"

using namespace turnstone;
using namespace std::chrono_literals;
using nlohmann::json;

namespace {

Client visitor_from(const std::string& address, bool is_operator = false) {
    return {.address = address, .turn = address, .is_operator = is_operator};
}

/// Works until it is told to stop.
Result<json> work_on(const debrief::Recordings&, const json&, const debrief::Advance& advance) {
    while (advance(0.25)) std::this_thread::sleep_for(1ms);
    return debrief::stopped();
}
Result<json> answer_with(const debrief::Recordings& recordings, const json& request, const debrief::Advance& advance) {
    if (request.contains("fail")) return fail("this cannot be compared");
    if (request.contains("throw")) throw std::runtime_error("out of paper");
    if (request.contains("bytes")) return json{{"text", std::string(request["bytes"].get<std::size_t>(), 'x')}};
    advance(0.5);
    return json{{"folder", recordings.folder.string()}, {"value", std::numeric_limits<double>::quiet_NaN()}};
}
constexpr JobKind kEndless{"endless", false, work_on};
constexpr JobKind kBrief{"brief", false, answer_with};

struct Office {
    Budgets budgets{100};
    Workers workers{2, budgets};
    Jobs jobs{"/recordings", workers, budgets};
    ~Office() {
        jobs.stop_all();
        workers.stop();
    }

    std::string begin(const JobKind& kind, const std::string& from = "10.0.0.1", json request = json::object()) {
        const auto id = jobs.begin(kind, visitor_from(from), std::move(request));
        REQUIRE(id);
        return *id;
    }
    JobView wait_until(const std::string& id, JobState state) {
        for (;;) {
            const auto view = jobs.look(id);
            REQUIRE(view);
            if (view->state == state) return *view;
            REQUIRE((view->state == JobState::waiting || view->state == JobState::working));
            std::this_thread::sleep_for(1ms);
        }
    }
};

} // namespace

TEST_CASE("a job gives its result, or says why it has none") {
    Office office;
    const JobView done = office.wait_until(office.begin(kBrief), JobState::done);
    CHECK(done.kind == "brief");
    CHECK(done.fraction == 1);
    CHECK(json::parse(*done.result) == json{{"folder", "/recordings"}, {"value", nullptr}});
    struct Case {
        json request;
        const char* error;
    };
    const Case cases[] = {{{{"fail", true}}, "this cannot be compared"},
                          {{{"throw", true}}, "out of paper"},
                          {{{"bytes", Jobs::kResultBytesMax + 1}}, "at most 16 MiB are kept"}};
    for (const Case& one : cases) {
        const JobView failed = office.wait_until(office.begin(kBrief, "10.0.0.1", one.request), JobState::failed);
        CHECK(failed.error.find(one.error) != std::string::npos);
        CHECK(failed.result == nullptr);
    }
    CHECK(office.budgets.used(Budget::jobs) == 0);
}

TEST_CASE(
    "two jobs are done at once, and one that waits or is under way is stopped by who asked for it, or an operator") {
    Office office;
    const std::string first = office.begin(kEndless, "10.0.0.1"), second = office.begin(kEndless, "10.0.0.2");
    CHECK(office.wait_until(first, JobState::working).fraction <= 0.25);
    office.wait_until(second, JobState::working);
    const std::string third = office.begin(kEndless, "10.0.0.2");
    CHECK(office.jobs.look(third)->state == JobState::waiting);

    CHECK(office.jobs.stop(third, visitor_from("10.0.0.1")) == Jobs::StopVerdict::of_another);
    CHECK(office.jobs.stop("j99", visitor_from("10.0.0.1")) == Jobs::StopVerdict::unknown);
    CHECK(office.jobs.stop(third, visitor_from("10.0.0.9", true)) == Jobs::StopVerdict::stopped);
    CHECK(office.jobs.look(third)->state == JobState::stopped);
    CHECK(office.jobs.stop(first, visitor_from("10.0.0.1")) == Jobs::StopVerdict::stopped);
    CHECK(office.wait_until(first, JobState::stopped).error == "stopped");
    CHECK(office.jobs.stop(first, visitor_from("10.0.0.1")) == Jobs::StopVerdict::stopped);
    CHECK_FALSE(office.jobs.look(first)); // asked once more, its result is forgotten
}

TEST_CASE("an address has two jobs, waiting or under way") {
    Office office;
    office.begin(kEndless);
    const std::string second = office.begin(kEndless);
    const auto third = office.jobs.begin(kBrief, visitor_from("10.0.0.1"), json::object());
    REQUIRE_FALSE(third);
    CHECK(third.error().message.find("too many jobs for one address (at most 2)") != std::string::npos);
    office.jobs.stop(second, visitor_from("10.0.0.1"));
    office.wait_until(second, JobState::stopped);
    CHECK(office.jobs.begin(kBrief, visitor_from("10.0.0.1"), json::object()));
}

TEST_CASE("results are kept for ten minutes, and the oldest give way to newer ones") {
    Office office;
    const std::string small = office.begin(kBrief);
    office.wait_until(small, JobState::done);
    const auto now = Jobs::Clock::now();
    CHECK(office.jobs.look(small, now + 9min));
    CHECK_FALSE(office.jobs.look(small, now + 11min));
    CHECK_FALSE(office.jobs.look("j1x"));

    const json large{{"bytes", Jobs::kResultBytesMax - 100}};
    std::vector<std::string> ids;
    for (std::size_t i = 0; i <= Jobs::kResultsBytesMax / Jobs::kResultBytesMax; ++i) {
        ids.push_back(office.begin(kBrief, "10.0.0.1", large));
        office.wait_until(ids.back(), JobState::done);
    }
    CHECK(office.jobs.look(ids.front())->state == JobState::failed);
    CHECK(office.jobs.look(ids.front())->error.find("gave way") != std::string::npos);
    CHECK(office.jobs.look(ids.back())->state == JobState::done);
}
