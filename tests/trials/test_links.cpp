// What links say of the simulator's flights, live and from a capture.
#include <catch2/catch.hpp>

#include <cmath>
#include <map>
#include <memory>

#include "server/pipeline/link/capture_time.hpp"
#include "server/pipeline/station/pipeline.hpp"
#include "shared/time.hpp"
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

  private:
    void take() {
        for (Event& event : batch_.events) events.push_back(std::move(event));
        for (const RowRecord& row : batch_.rows) {
            const Table& table = pipeline_->schema().tables[row.table];
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
