// What a watch takes for a firing, and when it says so: rows and events made by hand. What it finds in the record of
// one: tests/trials/test_separation.cpp.
#include <catch2/catch.hpp>

#include <algorithm>
#include <functional>

#include <nlohmann/json.hpp>

#include "server/monitor/charges/charge_watch.hpp"
#include "server/pipeline/station/pipeline.hpp"
#include "shared/constants.hpp"
#include "shared/time.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;

namespace {

constexpr std::int64_t kWatchedNs = 1'790'000'000 * kNsPerS;

PipelineSetup demo_stand() {
    std::vector<Problem> problems;
    PipelineSetup setup;
    VehicleSetup vehicle;
    vehicle.dictionary =
        read_dictionary(test::read_json(test::demo_path("sanderling/dictionary.json")), "dictionary.json", problems);
    vehicle.vehicle =
        read_vehicle(test::read_json(test::demo_path("sanderling/vehicle.json")), "vehicle.json", problems);
    for (const std::string id : {"bench-check", "separation-test"}) {
        const std::string file = "sanderling/procedures/" + id + ".json";
        vehicle.procedures.push_back(read_procedure(test::read_json(test::demo_path(file)), id, file, problems));
    }
    setup.site = read_site(test::read_json(test::demo_path("site.json")), "site.json", problems);
    REQUIRE(problems.empty());
    setup.vehicles.push_back(std::move(vehicle));
    setup.links = {{"radio", "test:", 0}};
    return setup;
}

class Watched {
  public:
    Watched() : schema_(Pipeline(setup_, kWatchedNs).schema()), watch_(setup_, schema_, 0) {}

    void event(double t_s, EventId id, EventValues values = {}, std::string text = {}) {
        const Marks from = batch_.marks();
        const EventVehicle vehicle = id == EventId::marker ? EventVehicle{} : EventVehicle{0, "sanderling"};
        batch_.events.push_back(make_event(
            {.id = id, .t_ns = at(t_s), .values = std::move(values), .text = std::move(text)}, at(t_s), vehicle));
        watch_.see(batch_, from);
    }
    /// A row of a packet's table with one value that is not NaN.
    void row(double t_s, const std::string& table_name, const std::string& column, double value) {
        const Table& table = *std::ranges::find(schema_.tables, "sanderling/" + table_name, &Table::name);
        std::vector<double> numbers(table.number_count, kNaN);
        for (std::size_t k = 0; k < table.number_count; ++k)
            if (table.columns[k].name == column) numbers[k] = value;
        const Marks from = batch_.marks();
        const std::vector<std::string_view> texts(table.columns.size() - table.number_count);
        batch_.add_row(table, at(t_s), at(t_s), numbers, texts);
        watch_.see(batch_, from);
    }
    void until(double t_s) {
        for (; t_s_ < t_s; t_s_ += 0.1) watch_.tick(at(t_s_), batch_);
    }
    [[nodiscard]] std::vector<std::string> rows() const {
        std::vector<std::string> out;
        for (const RowRecord& row : batch_.rows)
            if (const std::string& name = schema_.tables[row.table].name; name.find("/charge/") != std::string::npos)
                out.push_back(name.substr(name.rfind('/') + 1));
        return out;
    }
    /// By firing: whether it was in flight.
    [[nodiscard]] std::vector<double> in_flight() const {
        std::vector<double> out;
        for (const RowRecord& row : batch_.rows) {
            const Table& table = schema_.tables[row.table];
            if (table.name.find("/charge/") == std::string::npos) continue;
            const auto column = std::ranges::find(table.columns, "in_flight", &Column::name);
            REQUIRE(column != table.columns.end());
            out.push_back(batch_.numbers_of(row, table)[static_cast<std::size_t>(column - table.columns.begin())]);
        }
        return out;
    }
    [[nodiscard]] std::int64_t fired() const {
        return std::ranges::count(batch_.events, std::optional(EventId::charge_fired), &Event::id);
    }

  private:
    static std::int64_t at(double t_s) { return kWatchedNs + seconds_to_ns(t_s); }
    PipelineSetup setup_ = demo_stand();
    Schema schema_;
    ChargeWatch watch_;
    Batch batch_;
    double t_s_ = 0;
};

using Names = std::vector<std::string>;

} // namespace

TEST_CASE("a vehicle's word that a charge fires is passed on at once, and its row follows when the record is there") {
    Watched watched;
    watched.row(10, "firing", "charge_fired", 2);
    watched.until(10.2);
    CHECK(watched.fired() == 1);
    watched.until(18.3);
    CHECK(watched.rows().empty());
    watched.until(19);
    CHECK(watched.rows() == Names{"main"});
    watched.row(20, "firing", "charge_fired", 2); // the same word again is the same firing
    watched.until(40);
    CHECK(watched.rows().size() == 1);
    watched.row(60, "firing", "charge_fired", 2); // the next test
    watched.until(70);
    CHECK(watched.rows() == Names{"main", "main"});
    CHECK(watched.fired() == 2);
}

TEST_CASE("numbers of charges that the vehicle does not have are not a firing") {
    Watched watched;
    for (const double number : {0.0, 3.0, -1.0, 255.0, kNaN, 1e300}) watched.row(10, "firing", "charge_fired", number);
    watched.until(30);
    CHECK(watched.fired() == 0);
    CHECK(watched.rows().empty());
}

TEST_CASE("poorer evidence waits for better, and is taken when none comes") {
    struct Case {
        const char* what;
        std::function<void(Watched&)> happens;
        Names rows;
    };
    const std::vector<Case> cases{
        {"a marker that names the charge",
         [](Watched& w) {
             w.event(10, EventId::marker, {{"text", std::string("DROGUE charge")}});
         },
         {"drogue"}},
        {"a marker about something else",
         [](Watched& w) {
             w.event(10, EventId::marker, {{"text", std::string("Lunch")}});
         },
         {}},
        {"an igniter that opens",
         [](Watched& w) {
             w.row(9.5, "health", "continuity_main", 1);
             w.row(10, "health", "continuity_main", 0);
         },
         {"main"}},
        {"an igniter that never was good", [](Watched& w) { w.row(10, "health", "continuity_main", 0); }, {}},
        {"a shock alone", [](Watched& w) { w.event(10, EventId::shock); }, {}},
        {"a shock with a pulse",
         [](Watched& w) {
             w.event(10, EventId::shock);
             w.event(10.05, EventId::pressure_pulse);
         },
         {"drogue"}},
        {"a shock with a pulse, and the vehicle says which charge it was",
         [](Watched& w) {
             w.event(10, EventId::shock);
             w.event(10.05, EventId::pressure_pulse);
             w.row(10.02, "firing", "charge_fired", 2);
         },
         {"main"}},
        {"in flight, where igniters open and bays shake",
         [](Watched& w) {
             w.event(5, EventId::liftoff);
             w.row(9.5, "health", "continuity_main", 1);
             w.row(10, "health", "continuity_main", 0);
             w.event(10, EventId::shock);
             w.event(10.05, EventId::pressure_pulse);
         },
         {}},
    };
    for (const Case& each : cases) {
        INFO(each.what);
        Watched watched;
        each.happens(watched);
        watched.until(11);
        watched.until(25);
        CHECK(watched.rows() == each.rows);
        CHECK(watched.fired() == static_cast<std::int64_t>(each.rows.size()));
    }
}

TEST_CASE(
    "a firing is of the flight, late ones too, until the vehicle is ready again or put to a test of its charges") {
    const EventValues separation{{"procedure", std::string("separation-test")}};
    const EventValues bench{{"procedure", std::string("bench-check")}};
    struct Case {
        const char* what;
        std::function<void(Watched&)> happens; ///< before the firing at 60 s
        double in_flight;
    };
    const std::vector<Case> cases{
        {"on a tether", [](Watched&) {}, 0},
        {"in flight", [](Watched& w) { w.event(40, EventId::liftoff); }, 1},
        {"in a flight that was joined", [](Watched& w) { w.event(40, EventId::joined_in_flight); }, 1},
        {"after a liftoff that was none",
         [](Watched& w) {
             w.event(40, EventId::liftoff);
             w.event(41, EventId::false_liftoff);
         },
         0},
        {"late, when it is down",
         [](Watched& w) {
             w.event(20, EventId::liftoff);
             w.event(50, EventId::touchdown);
         },
         1},
        {"ready for the next flight",
         [](Watched& w) {
             w.event(20, EventId::liftoff);
             w.event(40, EventId::touchdown);
             w.event(50, EventId::ready_again);
         },
         0},
        {"in a test after a flight",
         [&](Watched& w) {
             w.event(20, EventId::liftoff);
             w.event(40, EventId::touchdown);
             w.event(50, EventId::procedure_begun, separation);
         },
         0},
        {"in a procedure after a flight that does not look at charges",
         [&](Watched& w) {
             w.event(20, EventId::liftoff);
             w.event(40, EventId::touchdown);
             w.event(50, EventId::procedure_begun, bench);
         },
         1},
        {"in flight, whatever is begun meanwhile",
         [&](Watched& w) {
             w.event(40, EventId::liftoff);
             w.event(50, EventId::procedure_begun, separation);
         },
         1},
        {"in a flight after a test",
         [&](Watched& w) {
             w.event(20, EventId::procedure_begun, separation);
             w.event(40, EventId::liftoff);
         },
         1},
    };
    for (const Case& each : cases) {
        INFO(each.what);
        Watched watched;
        each.happens(watched);
        watched.row(60, "firing", "charge_fired", 2);
        watched.until(75);
        CHECK(watched.in_flight() == std::vector{each.in_flight});
    }
}
