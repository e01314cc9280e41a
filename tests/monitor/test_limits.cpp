// What a dictionary wants watched: each kind of alert on rows as they come, and the example of DICTIONARY.md.
#include <cmath>
#include <map>
#include <set>
#include <sstream>
#include <utility>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "server/monitor/alert_book.hpp"
#include "server/monitor/limits.hpp"
#include "server/pipeline/station/pipeline.hpp"
#include "shared/time.hpp"
#include "tests/monitor/book.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;

namespace {

/// Rows of one packet through a LimitWatch and a book.
class LimitBench {
  public:
    /// `fields`: of the packet "power".
    explicit LimitBench(nlohmann::json dictionary) {
        dictionary["vehicle"] = "alpha";
        dictionary["version"] = "1";
        std::vector<Problem> problems;
        setup_.vehicles.push_back({});
        VehicleSetup& vehicle = setup_.vehicles.front();
        vehicle.dictionary = read_dictionary(dictionary, "dictionary.json", problems);
        vehicle.vehicle = read_vehicle(nlohmann::json{{"name", "alpha"}}, "vehicle.json", problems);
        INFO(to_string(problems));
        REQUIRE(problems.empty());
        setup_.site.pad = setup_.site.station = {40, -118, 1200};
        pipeline_.emplace(setup_, kBookStart_ns);
        watch_.emplace(vehicle.dictionary, pipeline_->schema());
    }
    /// Up to a time, with a row of `table` every half second, when it has values.
    void run(double until_s, const std::string& table, const std::map<std::string, double>& values) {
        for (; t_s_ < until_s - 1e-9; t_s_ += 0.1) {
            const std::int64_t t_ns = kBookStart_ns + std::llround(t_s_ * 10) * (kNsPerS / 10);
            const Marks from = out.marks();
            if (std::lround(t_s_ * 10) % 5 == 0) row(table, t_ns, values);
            if (std::exchange(pulse_, false))
                out.events.push_back(make_event({.id = EventId::pressure_pulse, .t_ns = t_ns}, t_ns, {0, "alpha"}));
            watch_->see(out, from);
            std::vector<Condition> found;
            watch_->judge(t_ns, found);
            book.judge({0, "alpha"}, found, t_ns, out);
            book.tick(t_ns, out);
        }
    }
    /// A charge fires with the next row.
    void fire() { pulse_ = true; }
    [[nodiscard]] std::vector<std::string> story() const {
        std::vector<std::string> lines;
        for (const Event& event : out.events) {
            if (event.id == EventId::pressure_pulse) continue;
            std::ostringstream line;
            line.setf(std::ios::fixed);
            line.precision(1);
            line << seconds_between(kBookStart_ns, event.t_found_ns) << " " << std::string(word(event.kind)).substr(6);
            if (event.kind == EventKind::alert_raised) line << " " << word(event.level);
            line << ": " << event.text;
            lines.push_back(line.str());
        }
        return lines;
    }
    [[nodiscard]] const Schema& schema() const { return pipeline_->schema(); }
    [[nodiscard]] std::size_t watched() const { return watch_->size(); }

    Batch out;
    AlertBook book{std::vector<std::string>{"alpha"}};

  private:
    void row(const std::string& name, std::int64_t t_ns, const std::map<std::string, double>& values) {
        if (values.empty()) return;
        for (const Table& table : schema().tables) {
            if (table.name != "alpha/" + name) continue;
            std::vector<double> numbers;
            for (std::size_t k = 0; k < table.number_count; ++k)
                numbers.push_back(values.contains(table.columns[k].name) ? values.at(table.columns[k].name) : NAN);
            const std::vector<std::string_view> texts(table.columns.size() - table.number_count);
            out.add_row(table, t_ns, t_ns, numbers, texts);
        }
    }

    PipelineSetup setup_;
    std::optional<Pipeline> pipeline_; ///< for its schema
    std::optional<LimitWatch> watch_;
    double t_s_ = 0;
    bool pulse_ = false;
};

/// A packet "power" with the fields "value" (f32) and, of another packet, "other".
nlohmann::json watching(const std::string& alerts) {
    return {
        {"packets",
         {{{"apid", 5},
           {"name", "power"},
           {"period_ms", 500},
           {"fields",
            {{{"name", "value"}, {"type", "f32"}, {"unit", "V"}, {"alerts", nlohmann::json::parse(alerts)}}}}},
          {{"apid", 6}, {"name", "other"}, {"period_ms", 500}, {"fields", {{{"name", "spare"}, {"type", "u8"}}}}}}}};
}

using Story = std::vector<std::string>;

} // namespace

TEST_CASE("the examples of DICTIONARY.md raise what the page says", "[limits]") {
    const auto dictionaries = fenced_blocks("protocol/DICTIONARY.md", "json alerts example");
    const auto flights = fenced_blocks("protocol/DICTIONARY.md", "raises");
    REQUIRE(dictionaries.size() == flights.size());
    std::size_t told = 0;
    for (std::size_t k = 0; k < dictionaries.size(); ++k) {
        INFO(flights[k]);
        const auto dictionary = nlohmann::json::parse(dictionaries[k]);
        const std::string packet = dictionary.at("packets")[0].at("name");
        LimitBench bench(dictionary);
        std::map<std::string, double> values;
        Story expected;
        std::istringstream lines(flights[k]);
        for (std::string line; std::getline(lines, line);) {
            std::istringstream words(line);
            double t_s = 0;
            words >> t_s;
            bench.run(t_s, packet, values);
            if (line.find('=') == std::string::npos) {
                expected.push_back(line);
                continue;
            }
            for (std::string word; words >> word;) {
                const std::size_t at = word.find('=');
                values[word.substr(0, at)] = std::stod(word.substr(at + 1));
            }
        }
        bench.run(40, packet, values);
        CHECK(bench.story() == expected);
        told += expected.size();
    }
    CHECK(told == 7);
}

TEST_CASE("each kind of alert is raised and cleared by what it is about", "[limits]") {
    struct Span {
        double until_s;
        const char* table;
        std::map<std::string, double> values;
    };
    struct Case {
        const char* name;
        const char* alerts;
        std::vector<Span> spans;
        Story story;
    };
    const auto value = [](double v) { return std::map<std::string, double>{{"value", v}}; };
    const std::map<std::string, double> spare{{"spare", 1}};
    const Case cases[] = {
        {"below, with a deadband",
         R"([{"below": {"advisory": 7}, "deadband": 0.5, "on_delay_s": 0, "off_delay_s": 0.5}])",
         {{2, "power", value(7.25)}, {4, "power", value(6.75)}, {6, "power", value(7.25)}, {9, "power", value(7.75)}},
         {"2.0 raised advisory: Value low: 6.75 V, limit 7.00 V", "6.5 cleared: Value within its limits again"}},
        {"above, at three levels",
         R"([{"above": {"advisory": 7, "caution": 8, "warning": 9}, "on_delay_s": 0, "off_delay_s": 1}])",
         {{2, "power", value(7.5)}, {4, "power", value(9.5)}, {8, "power", value(6)}},
         {"0.0 raised advisory: Value high: 7.50 V, limit 7.00 V",
          "2.0 raised warning: Value high: 9.50 V, limit 9.00 V", "5.0 cleared: Value within its limits again"}},
        {"at the limit is not beyond it", R"([{"above": {"caution": 7}}])", {{9, "power", value(7)}}, {}},
        {"no value is not beyond a limit", R"([{"below": {"caution": 7}}])", {{9, "power", value(NAN)}}, {}},
        {"a channel that falls silent stays as it was",
         R"([{"below": {"caution": 7}, "on_delay_s": 0}])",
         {{2, "power", value(6)}, {30, "power", {}}},
         {"0.0 raised caution: Value low: 6.00 V, limit 7.00 V"}},
        {"a rate, either way",
         R"([{"rate": {"caution": 1}, "on_delay_s": 0, "off_delay_s": 0}])",
         {{2, "power", value(1)}, {4, "power", value(-3)}, {7, "power", value(-3)}},
         {"2.0 raised caution: Value changes by 4 V/s, limit 1", "3.0 cleared: Value within its limits again"}},
        {"stuck",
         R"([{"stuck_s": 3, "deadband": 0.1, "level": "advisory"}])",
         {{1, "power", value(1)}, {5, "power", value(1.05)}, {6, "power", value(2)}, {7, "power", value(3)}},
         {"3.0 raised advisory: Value stuck for 3 s", "6.0 cleared: Value changes again"}},
        {"stale while the vehicle is heard",
         R"([{"stale_s": 3, "level": "advisory"}])",
         {{2, "power", value(1)}, {7, "other", spare}, {9, "power", value(1)}},
         {"4.5 raised advisory: Value not received for 3 s", "8.0 cleared: Value received again"}},
        {"stale that never came",
         R"([{"stale_s": 3}])",
         {{7, "other", spare}},
         {"3.0 raised caution: Value not received for 3 s"}},
        {"a silent vehicle is not stale", R"([{"stale_s": 3}])", {{2, "power", value(1)}, {20, "power", {}}}, {}},
        {"a vehicle that comes back is not stale before its channel had time",
         R"([{"stale_s": 3}])",
         {{2, "power", value(1)}, {10, "power", {}}, {12, "other", spare}, {14, "power", value(1)}},
         {}},
        {"expected, as numbers",
         R"([{"expected": [1, 2.5], "on_delay_s": 0, "off_delay_s": 0, "level": "warning"}])",
         {{2, "power", value(2.5)}, {4, "power", value(3)}, {6, "power", value(1)}},
         {"2.0 raised warning: Value is 3, expected 1 or 2.5", "4.0 cleared: Value as expected again"}},
        {"two of one kind have keys of their own",
         R"([{"above": {"caution": 7}, "on_delay_s": 0, "off_delay_s": 60},
             {"above": {"caution": 8}, "on_delay_s": 0, "off_delay_s": 60}])",
         {{2, "power", value(9)}},
         {"0.0 raised caution: Value high: 9.00 V, limit 7.00 V",
          "0.0 raised caution: Value high: 9.00 V, limit 8.00 V"}},
    };
    for (const Case& one : cases) {
        INFO(one.name);
        LimitBench bench(watching(one.alerts));
        for (const Span& span : one.spans) bench.run(span.until_s, span.table, span.values);
        CHECK(bench.story() == one.story);
        std::set<std::string> keys;
        for (const Event& event : bench.out.events)
            if (event.kind == EventKind::alert_raised) keys.insert(event.key);
        CHECK(keys.size() <= bench.watched());
    }
}

TEST_CASE("an alert of a channel counts in its phases, and latches when the dictionary says so", "[limits]") {
    LimitBench bench(watching(
        R"([{"above": {"caution": 7}, "phases": ["on_the_rail", "down"], "on_delay_s": 0, "latching": true,
             "advice": "Look at it"}])"));
    bench.book.phase(0, estimate::Phase::coasting);
    bench.run(3, "power", {{"value", 9}});
    CHECK(bench.story().empty());
    bench.book.phase(0, estimate::Phase::down);
    bench.run(5, "power", {{"value", 9}});
    bench.run(10, "power", {{"value", 1}});
    REQUIRE(bench.out.events.size() == 1);
    const Event& event = bench.out.events.front();
    CHECK(event.key == "alpha/limit/power.value/high");
    CHECK(event.advice == "Look at it");
    CHECK(event.id == EventId::limit);
}

TEST_CASE("an igniter that its charge opened raises nothing until another is fitted", "[limits]") {
    nlohmann::json dictionary = watching(R"([{"expected": [1], "on_delay_s": 1, "off_delay_s": 0}])");
    dictionary["packets"][0]["fields"][0]["role"] = "pyro_continuity";
    dictionary["packets"][0]["fields"][0]["unit"] = "1";
    LimitBench bench(dictionary);
    bench.run(2, "power", {{"value", 1}});
    bench.fire();
    bench.run(10, "power", {{"value", 0}});
    CHECK(bench.story().empty());
    bench.run(12, "power", {{"value", 1}});
    bench.run(15, "power", {{"value", 0}}); // a lead came off
    CHECK(bench.story() == Story{"13.0 raised caution: Value is 0, expected 1"});
    bench.fire(); // another charge, seconds later, explains nothing
    bench.run(17, "power", {{"value", 0}});
    CHECK(bench.story().size() == 1);

    LimitBench never_fitted(dictionary);
    never_fitted.run(2, "power", {{"value", 0}});
    never_fitted.fire();
    never_fitted.run(5, "power", {{"value", 0}});
    CHECK(never_fitted.story() == Story{"1.0 raised caution: Value is 0, expected 1"});
}

TEST_CASE("every element of an array is watched", "[limits]") {
    nlohmann::json dictionary = watching(R"([{"above": {"caution": 7}, "on_delay_s": 0}])");
    dictionary["packets"][0]["fields"][0]["count"] = 3;
    LimitBench bench(dictionary);
    CHECK(bench.watched() == 3);
    bench.run(1, "power", {{"value_0", 1}, {"value_1", 8}, {"value_2", 9}});
    CHECK(bench.story() == Story{"0.0 raised caution: Value 1 high: 8.00 V, limit 7.00 V",
                                 "0.0 raised caution: Value 2 high: 9.00 V, limit 7.00 V"});
}

TEST_CASE("limits are in the description of their column, so that they can be drawn", "[limits]") {
    LimitBench bench(
        watching(R"([{"below": {"caution": 7, "warning": 6}}, {"above": {"advisory": 8}}, {"stuck_s": 5}])"));
    for (const Table& table : bench.schema().tables)
        for (const Column& column : table.columns) {
            const std::vector<ColumnLimit> expected{
                {true, Level::caution, 7}, {true, Level::warning, 6}, {false, Level::advisory, 8}};
            CHECK(column.limits == (column.name == "value" ? expected : std::vector<ColumnLimit>{}));
        }
}
