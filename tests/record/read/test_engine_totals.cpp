/// Running time of an engine over several sessions, among them killed ones: against a count of the seconds it ran.
#include <fstream>
#include <thread>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "server/pipeline/station/pipeline.hpp"
#include "server/pipeline/vehicle_texts.hpp"
#include "server/record/derive.hpp"
#include "server/record/format/sqlite.hpp"
#include "server/record/read/engine_totals.hpp"
#include "server/record/reprocess.hpp"
#include "server/record/verify.hpp"
#include "server/record/write/recorder.hpp"
#include "tests/record/support.hpp"
#include "tests/support/killed_child.hpp"
#include "tests/support/tree.hpp"

namespace turnstone {
namespace {

using namespace record_test;

constexpr std::int64_t kSpeedStep_ms = 500; ///< between speeds
constexpr const char* kDictionary = R"({"vehicle": "boat", "title": "Test boat", "version": "1", "byte_order": "big",
  "time": {"format": "u32_ms"}, "packets": [{"apid": 200, "name": "engine", "description": "Engine", "period_ms": 500, "fields": [
  {"name": "engine_speed", "type": "f32", "unit": "{rev}/min", "description": "Speed", "role": "engine_speed"}]}]})";

PipelineSetup boat_setup(const std::string& uri = "serial:/dev/ttyUSB0") {
    PipelineSetup setup;
    std::vector<Problem> problems;
    auto vehicle = read_vehicle_texts(kDictionary, R"({"name": "boat"})", "test", problems);
    REQUIRE(vehicle);
    setup.vehicles.push_back(std::move(*vehicle));
    setup.site_json = R"({"name": "Test", "pad": {"latitude_deg": 40, "longitude_deg": -118, "height_m": 1200},
      "station": {"latitude_deg": 40, "longitude_deg": -118, "height_m": 1200}})";
    setup.site = read_site(*parse_json_text(setup.site_json, "site.json", problems), "site.json", problems);
    REQUIRE(to_string(problems) == "");
    setup.links.push_back({"radio", uri, 0});
    return setup;
}

/// A session as the server begins it: what the directory says, then a running engine, a sample at a time.
class Session {
  public:
    Session(const std::filesystem::path& directory, const PipelineSetup& setup, std::int64_t t_start_ns)
        : past_(engine_totals(directory, setup)), pipeline_(setup, t_start_ns),
          recorder_(recorder_settings(directory), setup), t_start_ns_(t_start_ns),
          id_(recorder_.begin(pipeline_.schema(),
                              {.t_start_ns = t_start_ns, .utc_start_ns = t_start_ns, .name = "", .continues = ""},
                              t_start_ns)) {
        auto inputs = std::make_shared<Inputs>();
        for (const Action& action : past_) counter_.action(t_start_ns, action, *inputs);
        feed(inputs);
    }
    void sample(float rpm) {
        auto inputs = std::make_shared<Inputs>();
        const std::int64_t t_ns = t_start_ns_ + kSpeedStep_ms * kMs * (samples_ + 1);
        const auto onboard_ms = static_cast<std::uint32_t>(kSpeedStep_ms * (samples_ + 1));
        counter_.chunk(0, t_ns, t_ns, timed_frame(static_cast<std::uint16_t>(samples_ % 16384), onboard_ms, rpm),
                       *inputs);
        feed(inputs);
        ++samples_;
    }
    [[nodiscard]] const std::vector<Action>& past() const { return past_; }
    [[nodiscard]] const std::string& id() const { return id_; }
    /// Seconds the engine has run since the session's first sample.
    [[nodiscard]] double ran_s() const {
        return 1e-3 * static_cast<double>(kSpeedStep_ms * std::max<std::int64_t>(0, samples_ - 1));
    }

  private:
    void feed(const std::shared_ptr<Inputs>& inputs) {
        auto batch = std::make_shared<Batch>();
        pipeline_.take(*inputs, *batch);
        recorder_.push(inputs);
        recorder_.push(batch, pipeline_.progress());
    }

    std::vector<Action> past_;
    Pipeline pipeline_;
    InputCounter counter_{1, 0};
    Recorder recorder_;
    std::int64_t t_start_ns_;
    std::string id_;
    std::int64_t samples_ = 0;
};

[[noreturn]] void run_engine_until_killed(const std::filesystem::path& directory, std::int64_t t_start_ns,
                                          auto&& report) {
    const PipelineSetup setup = boat_setup();
    Session session(directory, setup, t_start_ns);
    for (;;) {
        session.sample(1500);
        report(session.ran_s());
        std::this_thread::sleep_for(std::chrono::milliseconds(2));
    }
}

TEST_CASE("engine hours over sessions add up, restarted or killed, and are never counted twice") {
    const TemporaryFolder directory;
    const PipelineSetup setup = boat_setup();
    CHECK(engine_totals(directory.path(), setup).empty());
    CHECK_FALSE(engine_running_s(directory.path(), "boat"));
    std::mt19937 random(4);
    double ran_s = 0, lost_s = 0;
#ifdef TURNSTONE_INSTRUMENTED // ten times as slow, it promises nothing
    constexpr std::chrono::milliseconds kPromise{2500};
#else
    constexpr std::chrono::milliseconds kPromise{250};
#endif
    for (int round = 0; round < 5; ++round) {
        INFO("round " << round);
        const double before_s = engine_running_s(directory.path(), "boat").value_or(0);
        const auto child = test::run_until_killed<double>(
            kPromise + std::chrono::milliseconds(150 + random() % 300), [&](auto&& report) {
                run_engine_until_killed(directory.path(), kStart_ns + round * 3'600'000 * kMs, report);
            });
        const auto& told = child.reports;
        REQUIRE_FALSE(told.empty());
        for (const auto& path : recording_files(directory.path())) REQUIRE(finish_recording(path));

        const double found_s = engine_running_s(directory.path(), "boat").value_or(0) - before_s;
        CHECK(found_s <= told.back().second); // never more than it ran
        double safe_s = 0;                    // what was pushed longer ago than the recorder promises
        for (const auto& [at, total_s] : told)
            if (child.killed_at - at > kPromise) safe_s = total_s;
        CHECK(found_s >= safe_s - 1.0); // and at most the row of a second under way is missing
        ran_s += told.back().second;
        lost_s += told.back().second - found_s;
    }
    CHECK(ran_s > 100);
    CHECK(*engine_running_s(directory.path(), "boat") == Approx(ran_s - lost_s).margin(1e-6));

    // A session that is closed, and one that never hears of the engine, pass the total on.
    const std::int64_t next_ns = kStart_ns + 5 * 3'600'000 * kMs;
    const double before_s = *engine_running_s(directory.path(), "boat");
    std::string id;
    {
        Session session(directory.path(), setup, next_ns);
        REQUIRE(session.past() == std::vector<Action>{EngineTotal{"boat", before_s}});
        for (int k = 0; k < 201; ++k) session.sample(1500);
        id = session.id();
    }
    const double after_s = *engine_running_s(directory.path(), "boat");
    CHECK(after_s - before_s == Approx(100).margin(1.01));
    std::string silent;
    {
        const Session session(directory.path(), setup, next_ns + 3'600'000 * kMs);
        silent = session.id();
    }
    CHECK(*engine_running_s(directory.path(), "boat") == after_s);

    // The recording holds its own beginning: fed back it is the same, and reprocessed it counts from there, once.
    const auto report = verify_recording(directory.recording(id));
    REQUIRE(report);
    INFO(report->first_difference);
    CHECK(report->differences == 0);
    const auto again = reprocess(directory.recording(id), {}, directory.path());
    REQUIRE(again);
    CHECK(verify_recording(*again)->differences == 0);
    const std::string greatest = "SELECT max(running_time_h * 1e9) FROM boat_estimate_engine";
    CHECK(Database(*again, Database::Mode::read_only).integer(greatest) ==
          Database(directory.recording(id), Database::Mode::read_only).integer(greatest));
    CHECK(*engine_running_s(directory.path(), "boat") == after_s);

    // All but the newest may be moved away; a file that is none stops nothing.
    for (const std::string& name : directory.names())
        if (name != silent + ".sqlite") std::filesystem::remove(directory.path() / name);
    std::filesystem::copy_file(test::source_path("README.md"), directory.recording("broken"));
    CHECK(*engine_running_s(directory.path(), "boat") == after_s);
    CHECK_FALSE(engine_running_s(directory.path(), "canoe"));
}

TEST_CASE("a capture read again, or a reprocessed recording with another threshold, adds no engine hours") {
    const TemporaryFolder directory;
    const PipelineSetup live = boat_setup(), capture = boat_setup("file:old.bin");
    std::string id;
    {
        Session session(directory.path(), live, kStart_ns);
        for (int k = 0; k < 101; ++k) {
            session.sample(1500);
            session.sample(100);
        }
        id = session.id();
    }
    const double told_s = *engine_running_s(directory.path(), "boat");
    {
        Session session(directory.path(), capture, kStart_ns + 3'600'000 * kMs);
        for (int k = 0; k < 201; ++k) session.sample(1500);
    }
    CHECK(*engine_running_s(directory.path(), "boat") == told_s);
    std::vector<Problem> problems;
    auto sensitive =
        read_vehicle_texts(kDictionary, R"({"name": "boat", "engine_running_threshold_rpm": 50})", "test", problems);
    REQUIRE(sensitive);
    std::vector<VehicleSetup> vehicles;
    vehicles.push_back(std::move(*sensitive));
    const auto again = reprocess(directory.recording(id), std::move(vehicles), directory.path());
    REQUIRE(again);
    CHECK(Database(*again, Database::Mode::read_only)
              .integer("SELECT max(running_time_h * 3600) FROM boat_estimate_engine") >
          static_cast<std::int64_t>(told_s + 40));
    CHECK(*engine_running_s(directory.path(), "boat") == told_s);
}

} // namespace
} // namespace turnstone
