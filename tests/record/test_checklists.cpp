// Procedures and readiness boards in recordings: what live made is made again, after a kill, years later and by
// "evaluate"; and what an earlier recording says of a procedure.

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "server/pipeline/vehicle_texts.hpp"
#include "server/record/derive.hpp"
#include "server/record/evaluate.hpp"
#include "server/record/read/past_procedures.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/read/received_hash.hpp"
#include "server/record/verify.hpp"
#include "server/record/write/recording_file.hpp"
#include "tests/record/support.hpp"

using namespace turnstone;
using namespace turnstone::record_test;

namespace {

constexpr std::int64_t kSample_ms = 100;

PipelineSetup rig_setup(double least = 7) {
    std::vector<Problem> problems;
    PipelineSetup setup;
    auto vehicle = read_vehicle_texts(R"({"vehicle": "rig", "title": "Rig", "version": "1", "byte_order": "big",
      "time": {"format": "u32_ms"}, "packets": [{"apid": 200, "name": "power", "period_ms": 100, "fields": [
        {"name": "volts", "type": "f32", "unit": "V"}]}]})",
                                      R"({"name": "rig"})", "test", problems,
                                      {{"procedures/look.json", R"({"title": "Look", "checks": [
          {"id": "power", "title": "Power", "value": {"table": "power", "column": "volts"}, "measure": "mean", "over_s": 1, "least": )" +
                                                                    std::to_string(least) + R"(},
          {"id": "clear", "title": "Clear", "statement": true}],
        "steps": [{"id": "on", "kind": "instruct", "title": "On"}, {"id": "look", "kind": "check", "title": "Look", "checks": ["power", "clear"]}]})"},
                                       {"readiness.json", R"({"groups": [{"title": "A", "checks": [
          {"id": "power", "title": "Power", "value": {"table": "power", "column": "volts"}, "least": 7},
          {"id": "look", "title": "Looked", "passed": "look", "most": 30}]}],
        "positions": [{"id": "range", "title": "Range"}]})"}});
    REQUIRE(to_string(problems) == "");
    setup.vehicles.push_back(std::move(*vehicle));
    setup.site_json = R"({"name": "Test", "pad": {"latitude_deg": 40, "longitude_deg": -118, "height_m": 1200},
      "station": {"latitude_deg": 40, "longitude_deg": -118, "height_m": 1200}})";
    setup.site = read_site(*parse_json_text(setup.site_json, "site.json", problems), "site.json", problems);
    REQUIRE(to_string(problems) == "");
    setup.links.push_back({"radio", "serial:/dev/ttyUSB0", 0});
    return setup;
}

/// A station as it records: packets a tenth of a second apart, and what people do.
class Station {
  public:
    Station(const TemporaryFolder& directory, const PipelineSetup& setup, std::int64_t t_start_ns = kStart_ns)
        : pipeline_(setup, t_start_ns), recorder_(recorder_settings(directory.path()), setup), t_start_ns_(t_start_ns),
          id(recorder_.begin(pipeline_.schema(),
                             {.t_start_ns = t_start_ns, .utc_start_ns = t_start_ns, .name = "", .continues = ""},
                             t_start_ns)) {}
    void power(float volts, int samples) {
        for (int k = 0; k < samples; ++k) {
            ++samples_;
            auto inputs = std::make_shared<Inputs>();
            counter_.chunk(0, now_ns(), now_ns(),
                           timed_frame(static_cast<std::uint16_t>(samples_),
                                       static_cast<std::uint32_t>(kSample_ms * samples_), volts),
                           *inputs);
            feed(inputs);
        }
    }
    void act(const Action& action) {
        auto inputs = std::make_shared<Inputs>();
        counter_.action(now_ns(), action, *inputs);
        feed(inputs);
    }
    void begin() { act(ProcedureCommand{"rig", "look", ProcedureStep::begin, "KL"}); }
    void end() { act(ProcedureCommand{"rig", "look", ProcedureStep::end, "KL"}); }
    void done(const std::string& step) { act(StepCommand{"rig", step, StepDeed::done, "KL"}); }
    void state(bool holds) { act(CheckStatement{"rig", "clear", holds, "KL"}); }
    /// A run that passes.
    void pass() {
        begin();
        done("on");
        power(8, 30);
        state(true);
        done("look");
        end();
    }
    [[nodiscard]] std::int64_t now_ns() const { return t_start_ns_ + samples_ * kSample_ms * kMs; }
    [[nodiscard]] std::vector<Event> events() const { return all_.events; }

  private:
    void feed(const std::shared_ptr<Inputs>& inputs) {
        auto batch = std::make_shared<Batch>();
        pipeline_.take(*inputs, *batch);
        all_.events.insert(all_.events.end(), batch->events.begin(), batch->events.end());
        recorder_.push(inputs);
        recorder_.push(batch, pipeline_.progress());
    }

    Pipeline pipeline_;
    InputCounter counter_{1, 0};
    Recorder recorder_;
    std::int64_t t_start_ns_;
    std::int64_t samples_ = 0;
    Batch all_;

  public:
    const std::string id;
};

std::string state_of(const Evaluation& evaluation, const std::string& check) {
    for (const EvaluatedCheck& each : evaluation.checks)
        if (each.id == check) return std::string(word(each.state));
    return "none";
}

std::string text_of(const Evaluation& evaluation, const std::string& check) {
    for (const EvaluatedCheck& each : evaluation.checks)
        if (each.id == check) return each.text;
    return "none";
}

} // namespace

TEST_CASE("a recording with a procedure and a poll is made again bit for bit, and keeps the files it rests on") {
    const TemporaryFolder directory;
    std::string id;
    {
        const PipelineSetup setup = rig_setup();
        Station station(directory, setup);
        station.power(8, 30);
        station.pass();
        station.act(PollQuestion{"range"});
        station.act(PollAnswer{"range", true, "KL"});
        station.power(8, 30);
        station.act(Entered{"", "wind_mps", 4, "KL"});
        station.power(6, 20);
        const auto events = station.events();
        const auto says = [&](EventId event) { return std::ranges::count(events, event, &Event::id); };
        CHECK(says(EventId::ready) == 1);
        CHECK(says(EventId::not_ready) == 1);
        id = station.id;
    }
    const auto report = verify_recording(directory.recording(id));
    REQUIRE(report);
    INFO(report->first_difference);
    CHECK(report->differences == 0);
    CHECK(report->rows > 100);
    CHECK(report->not_compared.empty());
    auto reader = RecordingReader::open(directory.recording(id));
    REQUIRE(reader);
    CHECK(reader->description().vehicles.at(0).procedures == rig_setup().vehicles.at(0).procedures);
    CHECK(reader->description().vehicles.at(0).readiness == rig_setup().vehicles.at(0).readiness);
    CHECK(reader->setup()->vehicles.at(0).files == rig_setup().vehicles.at(0).files);
}

TEST_CASE("evaluate gives the verdicts that were given live, and those of other limits") {
    const TemporaryFolder directory;
    std::string id;
    {
        const PipelineSetup setup = rig_setup();
        Station station(directory, setup);
        station.pass();
        id = station.id;
    }
    const auto live = evaluate_procedure(directory.recording(id), "look", "", {});
    REQUIRE(live);
    CHECK(live->was_run);
    CHECK(live->verdict == "passed");
    CHECK(live->holds);
    CHECK(state_of(*live, "power") == "holds");
    const auto stricter = evaluate_procedure(directory.recording(id), "look", "rig", std::move(rig_setup(9).vehicles));
    REQUIRE(stricter);
    CHECK(stricter->verdict == "failed");
    CHECK_FALSE(stricter->holds);
    CHECK(state_of(*stricter, "power") == "fails");
    CHECK_THAT(evaluate_procedure(directory.recording(id), "tea", "", {}).error().message,
               Catch::Contains("has no procedure tea") && Catch::Contains("rig look"));
}

TEST_CASE("evaluate holds where the run passed, with what was waived and not with what was left undone") {
    const TemporaryFolder directory;
    const bool is_waived = GENERATE(true, false);
    std::string id;
    {
        const PipelineSetup setup = rig_setup();
        Station station(directory, setup);
        station.begin();
        station.done("on");
        station.power(is_waived ? 6 : 8, 30);
        station.state(true);
        if (is_waived) station.act(StepCommand{"rig", "look", StepDeed::waive, "KL", "the bench supply"});
        station.end();
        id = station.id;
    }
    const auto result = evaluate_procedure(directory.recording(id), "look", "", {});
    REQUIRE(result);
    CHECK(result->verdict == (is_waived ? "passed" : "incomplete"));
    CHECK(result->holds == is_waived);
    CHECK(state_of(*result, "power") == (is_waived ? "fails" : "holds"));
}

// The event of a check's last change of state has the figures of that moment; it held on, and drifted while it did.
TEST_CASE("evaluate says the figures that decided, not those when the state last changed") {
    const TemporaryFolder directory;
    const bool steps = GENERATE(true, false);
    std::string id;
    {
        const PipelineSetup setup = rig_setup();
        Station station(directory, setup);
        if (steps) station.begin();
        station.power(8, 30);
        station.power(7.25F, 30);
        if (steps) station.end();
        id = station.id;
    }
    const auto result = evaluate_procedure(directory.recording(id), "look", "", {});
    REQUIRE(result);
    CHECK(text_of(*result, "power") == "Power: holds, 7.25 V, required ≥ 7.00 V");
}

TEST_CASE("a recording in which nobody went through the steps is judged by its checks, statements left out") {
    const TemporaryFolder directory;
    const float volts = GENERATE(8.0F, 6.0F);
    std::string id;
    {
        const PipelineSetup setup = rig_setup();
        Station station(directory, setup);
        station.power(volts, 40);
        id = station.id;
    }
    const auto result = evaluate_procedure(directory.recording(id), "look", "", {});
    REQUIRE(result);
    CHECK_FALSE(result->was_run);
    CHECK(state_of(*result, "power") == (volts > 7 ? "holds" : "fails"));
    CHECK(state_of(*result, "clear") == "not_evaluated");
    CHECK(result->holds == (volts > 7));
}

TEST_CASE("a station that was killed goes on in the middle of a procedure") {
    const TemporaryFolder directory;
    const PipelineSetup setup = rig_setup();
    std::string id;
    {
        Station station(directory, setup);
        station.begin();
        station.done("on");
        station.power(8, 30);
        station.state(true);
        station.power(8, 5);
        id = station.id;
    }
    auto reader = RecordingReader::open(directory.recording(id));
    REQUIRE(reader);
    Pipeline pipeline(setup, kStart_ns);
    CHECK(catch_up(
              *reader, reader->info().inputs, pipeline, [](const Inputs&) {}, [](const Batch&) {})
              .empty());
    Batch out;
    const std::int64_t t_ns = kStart_ns + 60 * 1000 * kMs;
    pipeline.action(t_ns, StepCommand{"rig", "on", StepDeed::done, "KL"}, out); // done before
    pipeline.action(t_ns, StepCommand{"rig", "look", StepDeed::done, "KL"}, out);
    std::vector<EventId> said;
    for (const Event& event : out.events)
        if (event.kind == EventKind::procedure && event.id == EventId::step_done) said.push_back(*event.id);
    CHECK(said == std::vector<EventId>{EventId::step_done});
    out.clear();
    pipeline.action(t_ns, ProcedureCommand{"rig", "look", ProcedureStep::end, "KL"}, out);
    CHECK(std::ranges::count(out.events, EventId::procedure_ended, &Event::id) == 1);
}

TEST_CASE("a procedure that was passed is known to the next station, with the hash of what was received") {
    const TemporaryFolder directory;
    const PipelineSetup setup = rig_setup();
    CHECK(past_procedures(directory.path(), setup).empty());
    std::string first, second;
    {
        Station station(directory, setup);
        station.pass();
        first = station.id;
    }
    constexpr std::int64_t kDayNs = 86'400'000 * kMs;
    {
        Station station(directory, setup, kStart_ns + kDayNs);
        for (const Action& action : past_procedures(directory.path(), setup)) station.act(action);
        station.begin(); // and fails
        station.power(6, 30);
        station.done("on");
        station.done("look");
        station.end();
        second = station.id;
    }
    const auto past = past_procedures(directory.path(), setup);
    REQUIRE(past.size() == 1);
    const auto& said = std::get<PastProcedure>(past.front());
    CHECK(said.runs == 2);
    CHECK(said.recording == first);
    CHECK(said.passed_ns == kStart_ns + 30 * kSample_ms * kMs);
    CHECK(said.sha256 == received_sha256(directory.recording(first)).value());
    CHECK(said.has_failed_since());
    // On the board of the next station it is a must-check that holds, unless the newest run failed.
    for (const bool is_failed : {true, false}) {
        Station third(directory, setup, kStart_ns + (is_failed ? 2 : 3) * kDayNs);
        PastProcedure known = said;
        if (!is_failed) known.failed_ns.reset();
        third.act(known);
        third.act(PollAnswer{"range", true, "KL"});
        third.power(8, 20);
        CHECK(std::ranges::count(third.events(), EventId::ready, &Event::id) == (is_failed ? 0 : 1));
    }
}

TEST_CASE("the hash is SHA-256 of the received bytes in their order, FIPS 180-4") {
    const TemporaryFolder directory;
    const PipelineSetup setup = sample_setup();
    const auto path = directory.recording("abc");
    create_recording(path, texts_of(setup), sample_schema(),
                     {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "", .continues = ""}, false);
    {
        RecordingFile file(path, sample_schema(), false);
        InputCounter counter(setup.links.size(), kStart_ns);
        Inputs inputs;
        const auto bytes = [](const char* text) { return std::as_bytes(std::span(text, std::strlen(text))); };
        counter.chunk(0, kStart_ns, kStart_ns, bytes("before"), inputs, true); // carried
        counter.chunk(0, kStart_ns, kStart_ns, bytes("ab"), inputs);
        counter.action(kStart_ns, Marker{"between"}, inputs);
        counter.chunk(1, kStart_ns, kStart_ns, bytes("c"), inputs);
        file.append(inputs);
        file.close("clean");
    }
    // The example of one block in NIST's "Descriptions of SHA-256" for the message "abc".
    CHECK(received_sha256(path).value() == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
}
