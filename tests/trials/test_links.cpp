// What links say of the simulator's flights, live and from a capture.
#include <catch2/catch.hpp>

#include <cmath>
#include <functional>
#include <map>
#include <memory>
#include <utility>

#include <nlohmann/json.hpp>

#include "server/pipeline/link/capture_time.hpp"
#include "server/pipeline/station/pipeline.hpp"
#include "shared/time.hpp"
#include "tests/support/tree.hpp"
#include "tools/sim/fly.hpp"
#include "tools/trials/trial.hpp"

using namespace turnstone;
using namespace turnstone::trials;

namespace {

constexpr std::int64_t kStartOfTape_ns = 1'780'000'000 * kNsPerS;

/// What a pipeline said over a flight: its events, and the last row of each link's table.
class Listener {
  public:
    explicit Listener(const PipelineSetup& setup) : pipeline_(std::make_unique<Pipeline>(setup, kStartOfTape_ns)) {
        pipeline_->set_prediction_period(kInfinity);
    }
    void chunk(std::int64_t t_ns, std::span<const std::byte> bytes) {
        pipeline_->chunk(0, t_ns, t_ns, bytes, batch_);
        take();
    }
    /// Ten more seconds, so that windows and rows are complete.
    void end(std::int64_t t_ns) {
        pipeline_->advance(t_ns + 10 * kNsPerS, batch_);
        take();
    }
    [[nodiscard]] std::size_t count(EventId id) const {
        return static_cast<std::size_t>(std::ranges::count(events, std::optional(id), &Event::id));
    }
    /// Seconds of the tape at which it happened first; NaN: never.
    [[nodiscard]] double time_s(EventId id) const {
        const auto found = std::ranges::find(events, std::optional(id), &Event::id);
        return found == events.end() ? NAN : seconds_between(kStartOfTape_ns, found->t_ns);
    }

    /// 1-sigma of that; 0: never.
    [[nodiscard]] double sigma_s(EventId id) const {
        const auto found = std::ranges::find(events, std::optional(id), &Event::id);
        return found == events.end() ? 0 : found->t_sigma_s;
    }

    std::vector<Event> events;
    std::map<std::string, double> figures; ///< "link/radio.imu lost"
    double greatest_altitude_m = 0;        ///< AGL or below, of navigation

  private:
    void take() {
        for (Event& event : batch_.events) events.push_back(std::move(event));
        for (const RowRecord& row : batch_.rows) {
            const Table& table = pipeline_->schema().tables[row.table];
            for (std::size_t c = 0; c < table.number_count; ++c)
                if (table.name.ends_with("/estimate/navigation") && table.columns[c].name == "up_m")
                    greatest_altitude_m = std::fmax(greatest_altitude_m, std::abs(batch_.numbers_of(row, table)[c]));
            if (table.kind != TableKind::link) continue;
            for (std::size_t c = 0; c < table.number_count; ++c)
                for (const char* name : {"received", "lost", "duplicates", "sequence_resets"})
                    if (table.columns[c].name == name)
                        figures[table.name + " " + name] = batch_.numbers_of(row, table)[c];
        }
        batch_.clear();
    }

    std::unique_ptr<Pipeline> pipeline_;
    Batch batch_;
};

Listener live(const sim::FlightResult& flight, const PipelineSetup& setup) {
    Listener listener(setup);
    std::int64_t t_ns = kStartOfTape_ns;
    for (const sim::Delivery& delivery : flight.received.deliveries) {
        t_ns = kStartOfTape_ns + seconds_to_ns(delivery.t_end_s);
        listener.chunk(t_ns, std::as_bytes(std::span(flight.received.bytes).subspan(delivery.offset, delivery.size)));
    }
    listener.end(t_ns);
    return listener;
}

Listener from_capture(const sim::FlightResult& flight, const PipelineSetup& setup) {
    Listener listener(setup);
    CaptureTime time(CobsFraming{}, setup.vehicles.front().dictionary);
    std::int64_t newest_ns = kStartOfTape_ns;
    const auto on_piece = [&](std::int64_t t_ns, std::span<const std::byte> bytes) {
        newest_ns = t_ns;
        listener.chunk(t_ns, bytes);
    };
    std::vector<std::uint8_t> capture; // in the order of arrival
    for (const sim::Delivery& delivery : flight.received.deliveries) {
        const auto piece = std::span(flight.received.bytes).subspan(delivery.offset, delivery.size);
        capture.insert(capture.end(), piece.begin(), piece.end());
    }
    const auto bytes = std::as_bytes(std::span(capture));
    for (std::size_t at = 0; at < bytes.size(); at += 16384)
        time.read(kStartOfTape_ns, bytes.subspan(at, std::min<std::size_t>(16384, bytes.size() - at)), on_piece);
    time.end(on_piece);
    listener.end(newest_ns);
    return listener;
}

} // namespace

TEST_CASE("no scenario, clean or rough, live or from a capture, makes a link say that something is wrong with it") {
    for (const sim::ScenarioName& name : sim::scenario_names())
        for (const char* impairment : {"clean", "mild", "rough"}) {
            INFO(name.name << ", " << impairment);
            const sim::Scenario scenario = trial_scenario(std::string(name.name), impairment);
            const sim::FlightResult flight = sim::fly(scenario, 1);
            const PipelineSetup setup = trial_setup(scenario);
            CHECK(live(flight, setup).count(EventId::link_trouble) == 0);
            CHECK(from_capture(flight, setup).count(EventId::link_trouble) == 0);
        }
}

namespace {

using Fields = nlohmann::json;

/// A station whose dictionary has the packet `name` with its fields in another order.
PipelineSetup with_other_order(const sim::Scenario& scenario, std::string_view name,
                               const std::function<void(Fields&)>& change) {
    PipelineSetup setup = trial_setup(scenario);
    VehicleSetup& vehicle = setup.vehicles.front();
    std::vector<Problem> problems;
    nlohmann::json json = test::read_json(test::demo_path("sanderling/dictionary.json"));
    for (nlohmann::json& packet : json["packets"])
        if (packet["name"] == name) change(packet["fields"]);
    vehicle.dictionary = read_dictionary(json, "dictionary.json", problems);
    REQUIRE(problems.empty());
    return setup;
}

} // namespace

TEST_CASE("a dictionary with its fields in another order is named on the rail, and what it makes up is not used") {
    struct Case {
        const char* name;
        const char* packet;
        std::size_t one, other; ///< fields that change places
        const char* says;
    };
    const Case cases[] = {
        {"latitude and height", "fix", 0, 2, "Altitude MSL -"},
        {"latitude and longitude", "fix", 0, 1, "km from the pad"},
        {"pressure and temperature", "baro", 0, 1, "Air temperature -"},
    };
    const sim::Scenario scenario = trial_scenario("nominal", "mild");
    const sim::FlightResult flight = sim::fly(scenario, 1);
    for (const Case& one : cases) {
        INFO(one.name);
        const PipelineSetup setup = with_other_order(
            scenario, one.packet, [&](Fields& fields) { std::swap(fields[one.one], fields[one.other]); });
        const Listener heard = live(flight, setup);
        REQUIRE(heard.count(EventId::link_trouble) == 1);
        const auto alert = std::ranges::find(heard.events, std::optional(EventId::link_trouble), &Event::id);
        CHECK(heard.time_s(EventId::link_trouble) < 10);
        CHECK_THAT(alert->text, Catch::Contains(one.says));
        CHECK(heard.greatest_altitude_m < 1500);
    }
}

TEST_CASE("a capture read at full speed gives the losses, restarts and flight that came live") {
    for (const sim::ScenarioName& name : sim::scenario_names())
        for (std::uint64_t seed = 1; seed <= 2; ++seed) {
            INFO(name.name << ", seed " << seed);
            const sim::Scenario scenario = trial_scenario(std::string(name.name), "rough");
            const sim::FlightResult flight = sim::fly(scenario, seed);
            const PipelineSetup setup = trial_setup(scenario);
            const Listener heard = live(flight, setup), read = from_capture(flight, setup);
            CHECK(heard.figures.at("link/radio lost") > 100);
            for (const auto& [figure, value] : heard.figures) {
                INFO(figure);
                CHECK(read.figures.at(figure) == value);
            }
            CHECK(read.count(EventId::reboot) == heard.count(EventId::reboot));
            CHECK(read.count(EventId::clock_jump) == 0);
            // How long the computer was off is not in a capture.
            const double margin_s = heard.count(EventId::reboot) > 0 ? 3.0 : 0.3;
            for (const EventId id : kFlightEvents) {
                INFO(word(id));
                CHECK(read.count(id) == heard.count(id));
                const double from_liftoff_s = heard.time_s(id) - heard.time_s(EventId::liftoff);
                // Where a capture's times differ a little, another evidence may come first, as far off as it says.
                const double either_s = margin_s + 3 * std::hypot(heard.sigma_s(id), read.sigma_s(id));
                if (std::isfinite(from_liftoff_s))
                    CHECK(read.time_s(id) - read.time_s(EventId::liftoff) == Approx(from_liftoff_s).margin(either_s));
            }
        }
}
