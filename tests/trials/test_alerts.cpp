// What people are told of simulated flights: alerts and sentences, from the transmitter's bytes to the events.
// A good flight raises nothing above an advisory, and at most two of those; a fault raises what it is and nothing else.
// TURNSTONE_FLIGHTS=50 flies the full set; TURNSTONE_SEED=7000 flies others.
#include <catch2/catch.hpp>

#include <algorithm>
#include <atomic>
#include <cmath>
#include <functional>
#include <map>
#include <memory>
#include <set>
#include <thread>

#include "server/monitor/flight/sentence.hpp"
#include "server/pipeline/station/pipeline.hpp"
#include "shared/atmosphere.hpp"
#include "shared/time.hpp"
#include "tests/trials/seeds.hpp"
#include "tools/sim/fly.hpp"
#include "tools/trials/trial.hpp"
#include "tools/trials/trial_case.hpp"

using namespace turnstone;
using namespace turnstone::trials;

namespace {

constexpr std::int64_t kTold_ns = 1'790'000'000 * kNsPerS;

int seeds_told() {
    return flights_or(2);
}

/// A flight and all that was said of it.
struct ToldFlight {
    std::string title;
    sim::Truth truth;
    double boot_s = 0;
    std::vector<Event> events;

    [[nodiscard]] static double at_s(const Event& event) { return seconds_between(kTold_ns, event.t_found_ns); }
    [[nodiscard]] bool alerts(const Event& event) const {
        return event.kind != EventKind::sentence && event.kind != EventKind::alert_cleared;
    }
    /// Of everything announced at this level, how often. What says that many packets are lost is true of the rough
    /// radio at a distance, whatever flies.
    [[nodiscard]] std::map<EventId, int> announced(Level from, Level to) const {
        std::map<EventId, int> out;
        for (const Event& event : events)
            if (alerts(event) && event.level >= from && event.level <= to && event.id != EventId::heavy_loss)
                ++out[event.id.value()];
        return out;
    }
    /// Seconds of the run at which an alert was first raised; NaN: never.
    [[nodiscard]] double raised_s(EventId id) const {
        for (const Event& event : events)
            if (event.id == id && event.kind == EventKind::alert_raised) return at_s(event);
        return NAN;
    }
    [[nodiscard]] std::vector<const Event*> sentences() const {
        std::vector<const Event*> out;
        for (const Event& event : events)
            if (event.kind == EventKind::sentence) out.push_back(&event);
        return out;
    }
};

/// How the vehicle that flies differs from the one that the station knows.
using Fault = std::function<void(sim::Scenario&)>;

ToldFlight told(const std::string& scenario_name, const std::string& radio, std::uint64_t seed, const Fault& fault = {},
                const std::string& kit = "demo", bool predict = false) {
    sim::Scenario scenario = scenario_of({.scenario = scenario_name,
                                          .radio = radio,
                                          .errors = first_seed() < 1000 ? "tuning" : "acceptance",
                                          .kit = kit});
    const PipelineSetup setup = trial_setup(scenario);
    if (fault) fault(scenario);
    sim::FlightResult flight = sim::fly(scenario, seed);
    Pipeline pipeline(setup, kTold_ns);
    if (!predict) pipeline.set_prediction_period(kInfinity);
    ToldFlight out{
        scenario_name + ", " + radio + ", " + kit + ", seed " + std::to_string(seed), {}, scenario.boot_s, {}};
    Batch batch;
    const auto take = [&] {
        std::move(batch.events.begin(), batch.events.end(), std::back_inserter(out.events));
        batch.clear();
    };
    for (const sim::Delivery& delivery : flight.received.deliveries) {
        const std::int64_t t_ns = kTold_ns + seconds_to_ns(delivery.t_end_s);
        pipeline.chunk(0, t_ns, t_ns,
                       std::as_bytes(std::span(flight.received.bytes).subspan(delivery.offset, delivery.size)), batch);
        take();
    }
    pipeline.advance(kTold_ns + seconds_to_ns(flight.truth.samples.back().t_s + 20), batch);
    take();
    out.truth = std::move(flight.truth);
    return out;
}

/// On all cores, in the order of the seeds.
std::vector<ToldFlight> told_all(const std::function<ToldFlight(std::uint64_t seed)>& fly, int count) {
    std::vector<ToldFlight> out(static_cast<std::size_t>(count));
    std::atomic<std::size_t> next = 0;
    std::vector<std::jthread> workers;
    for (unsigned k = 0; k < std::max(1U, std::thread::hardware_concurrency()); ++k)
        workers.emplace_back([&] {
            for (std::size_t i = next++; i < out.size(); i = next++) out[i] = fly(first_seed() + i);
        });
    workers.clear();
    return out;
}

std::string list_of(const std::map<EventId, int>& found) {
    std::string out;
    for (const auto& [id, count] : found) out += std::string(word(id)) + " " + std::to_string(count) + ", ";
    return out;
}

/// First second after apogee at which the true fall is `times` as fast as under the drogue; NaN: never.
double faster_than_drogue_s(const ToldFlight& flight, double times) {
    const Vehicle vehicle = trial_scenario("nominal", "clean").vehicle;
    const double area_m2 = vehicle.rocket->parachutes.front().drag_area_m2;
    for (const sim::TruthSample& sample : flight.truth.samples) {
        if (!(sample.t_s > flight.truth.events.apogee_s)) continue;
        const double density = air_density_kg_m3(sample.pressure_pa, sample.temperature_k);
        const double rate_mps =
            std::sqrt(2 * vehicle.rocket->mass_dry_kg * kGravityStandard_mps2 / (density * area_m2));
        if (-sample.velocity_enu_mps.z() > times * rate_mps) return sample.t_s;
    }
    return NAN;
}

/// First second after apogee at which it can be known that a drogue is open in part. Drogues differ, by a tenth of
/// their area in the vehicle file: four sigmas of that are a fifth of the rate, a gust of 2.5 m/s a ninth of 22 m/s,
/// and three sigmas of the measured rate a twentieth. One that is large for its kind falls little faster than that, and
/// it is known once it has done so for a while.
double drogue_in_part_s(const ToldFlight& flight) {
    constexpr double kSteady_s = 10;
    return std::fmin(faster_than_drogue_s(flight, 1.45), faster_than_drogue_s(flight, 1.38) + kSteady_s);
}

double ejection_s(const ToldFlight& flight, std::size_t which) {
    return which < flight.truth.events.ejections.size() ? flight.truth.events.ejections[which].t_s : NAN;
}

struct FaultCase {
    std::string title, scenario;
    std::set<EventId> own;  ///< one of them at least must be raised
    std::set<EventId> also; ///< what else may follow from it
    /// When it can be known.
    std::function<double(const ToldFlight&)> known_s;
    Fault fault = {};
    /// What the rough radio may take longer. It loses most packets from the apogee on: a rate shows late, and what is
    /// missing counts as lost with the packets until they come through.
    double rough_s = 0;
};

const std::vector<FaultCase>& fault_cases() {
    using enum EventId;
    static const std::vector<FaultCase> kCases{
        {"ballistic",
         "ballistic",
         {no_parachute},
         {impact_expected},
         [](const ToldFlight& f) { return faster_than_drogue_s(f, 1.3); }},
        {"late-drogue",
         "late-drogue",
         {no_parachute},
         {impact_expected, parachute_late},
         [](const ToldFlight& f) { return faster_than_drogue_s(f, 1.3); }},
        {"a tangled drogue",
         "nominal",
         {no_parachute},
         {impact_expected, parachute_late, parachute_partial},
         [](const ToldFlight& f) { return faster_than_drogue_s(f, 1.3); },
         [](sim::Scenario& s) { s.vehicle.rocket->parachutes[0].drag_area_m2 = 0.004; },
         4.0},
        {"a drogue partly open",
         "nominal",
         {parachute_partial, no_parachute},
         {},
         drogue_in_part_s,
         [](sim::Scenario& s) { s.vehicle.rocket->parachutes[0].drag_area_m2 *= 0.4; },
         10.0},
        {"a main that fails",
         "nominal",
         {parachute_late},
         {parachute_partial},
         // Three seconds after it fires in the vehicle file: fallen through at 23 m/s.
         [](const ToldFlight& f) {
             for (const sim::TruthSample& s : f.truth.samples)
                 if (s.t_s > f.truth.events.apogee_s && s.position_enu_m.z() < 180) return s.t_s + 2.0;
             return double(NAN);
         },
         [](sim::Scenario& s) { s.vehicle.rocket->parachutes[1].opens_below_m = -1000; },
         2.0},
        {"reboot-at-ejection",
         "reboot-at-ejection",
         {rebooted},
         {},
         [](const ToldFlight& f) { return ejection_s(f, 0) + f.boot_s; }},
        {"gnss-loss",
         "gnss-loss",
         {no_fix_at_liftoff},
         {attitude_unknown}, // nothing holds a heading without fixes
         [](const ToldFlight& f) { return f.truth.events.liftoff_s + 8.0; },
         {},
         50.0},
        {"barometer-failure",
         "barometer-failure",
         {sensor_out_of_range, sensor_frozen, sensor_silent},
         {},
         [](const ToldFlight& f) { return ejection_s(f, 0); },
         {},
         2.0},
    };
    return kCases;
}

double number_in(const Event& event, std::string_view name) {
    for (const EventValue& value : event.values)
        if (value.name == name && std::holds_alternative<double>(value.value)) return std::get<double>(value.value);
    return NAN;
}

std::string text_in(const Event& event, std::string_view name) {
    for (const EventValue& value : event.values)
        if (value.name == name && std::holds_alternative<std::string>(value.value))
            return std::get<std::string>(value.value);
    return "";
}

/// What holds of the sentences of any flight.
void check_sentences(const ToldFlight& flight, int most_forms) {
    const auto sentences = flight.sentences();
    REQUIRE(!sentences.empty());
    CHECK(sentences.front()->text == "No data yet.");
    int forms = 0;
    double apogee_m = NAN;
    const Event* before = nullptr;
    for (const Event* each : sentences) {
        INFO(each->text);
        CHECK(each->text == sentence_text(each->values));
        CHECK(each->text.size() < 300);
        CHECK_FALSE(number_in(*each, "altitude_m") < 0);
        CHECK(each->text.find("nan") == std::string::npos);
        const std::string form = text_in(*each, "form");
        const bool another = before == nullptr || text_in(*before, "form") != form || before->level != each->level ||
                             text_in(*before, "alert") != text_in(*each, "alert");
        forms += before == nullptr || text_in(*before, "form") != form;
        // At speed it keeps up with the figures beside it.
        if (!another) CHECK(ToldFlight::at_s(*each) - ToldFlight::at_s(*before) > 0.29);
        // A maximum does not wander once it is measured.
        if (form != "coasting" && std::isfinite(number_in(*each, "apogee_m"))) {
            if (std::isfinite(apogee_m)) CHECK(std::abs(number_in(*each, "apogee_m") - apogee_m) < 15);
            apogee_m = number_in(*each, "apogee_m");
            // Without fixes a height is as wrong as the day's air: 1 % of it 1-sigma, on a day in a hundred 4 %.
            const double most_m = flight.title.starts_with("gnss-loss") ? 60 : 25;
            CHECK(std::abs(apogee_m - flight.truth.events.apogee_m) < most_m);
        }
        before = each;
    }
    CHECK(forms <= most_forms);
}

} // namespace

TEST_CASE("a good flight, a charge on a stand and a wait on the rail raise nothing above two advisories") {
    for (const char* scenario : {"nominal", "separation-test", "on-the-rail"})
        for (const char* radio : {"clean", "mild", "rough"})
            for (const ToldFlight& flight :
                 told_all([&](std::uint64_t seed) { return told(scenario, radio, seed); }, seeds_told())) {
                INFO(flight.title);
                const auto advisories = flight.announced(Level::advisory, Level::advisory);
                const auto above = flight.announced(Level::caution, Level::warning);
                INFO(list_of(advisories) << "above: " << list_of(above));
                // An igniter that opens as its charge is seen to fire has done its work. Where the pulse was lost on
                // the way, it is one that opened for no reason.
                if (std::string(scenario) == "separation-test" && std::string(radio) != "clean")
                    for (const auto& [id, times] : above) CHECK(id == EventId::unexpected_state);
                else
                    CHECK(above.empty());
                int count = 0;
                for (const auto& [id, times] : advisories) count += times;
                CHECK(count <= 2);
                check_sentences(flight, std::string(scenario) == "nominal" ? 12 : 6);
            }
}

TEST_CASE("a good flight raises nothing about its parachutes, whatever the vehicle measures") {
    for (const Kit& kit : kits())
        for (const char* radio : {"clean", "rough"})
            for (const ToldFlight& flight :
                 told_all([&](std::uint64_t seed) { return told("nominal", radio, seed, {}, std::string(kit.name)); },
                          std::max(1, seeds_told() / 2))) {
                INFO(flight.title);
                for (const EventId id : {EventId::no_parachute, EventId::parachute_late, EventId::parachute_partial,
                                         EventId::impact_expected})
                    CHECK(std::isnan(flight.raised_s(id)));
            }
}

TEST_CASE("a fault raises what it is, within two seconds of when it can be known, and nothing else") {
    for (const FaultCase& each : fault_cases())
        for (const char* radio : {"clean", "rough"})
            for (const ToldFlight& flight : told_all(
                     [&](std::uint64_t seed) { return told(each.scenario, radio, seed, each.fault); }, seeds_told())) {
                INFO(each.title << ": " << flight.title);
                const auto above = flight.announced(Level::caution, Level::warning);
                INFO(list_of(above));
                double raised_s = NAN;
                for (const EventId own : each.own) raised_s = std::fmin(raised_s, flight.raised_s(own));
                const double known_s = each.known_s(flight);
                CHECK(std::isfinite(known_s));
                CHECK(raised_s < known_s + 2.0 + (std::string(radio) == "rough" ? each.rough_s : 0));
                // A late or violent opening costs the attitude now and then where some of its turns are not heard.
                const bool is_rough = std::string(radio) == "rough";
                for (const auto& [id, count] : above)
                    CHECK((each.own.contains(id) || each.also.contains(id) ||
                           (is_rough && id == EventId::attitude_unknown)));
                check_sentences(flight, 16);
            }
}

TEST_CASE("the sentence follows a whole flight, and ends with where it lies") {
    for (const ToldFlight& flight :
         told_all([](std::uint64_t seed) { return told("nominal", "clean", seed, {}, "demo", true); }, 1)) {
        INFO(flight.title);
        std::vector<std::string> forms;
        for (const Event* each : flight.sentences())
            if (forms.empty() || forms.back() != text_in(*each, "form")) forms.push_back(text_in(*each, "form"));
        CHECK(forms == std::vector<std::string>{"no_data", "on_the_rail", "under_thrust", "coasting", "falling",
                                                "under_drogue", "under_main", "down"});
        const Event& last = *flight.sentences().back();
        const Eigen::Vector3d lies_m = flight.truth.samples.back().position_enu_m;
        CHECK(number_in(last, "distance_m") == Approx(lies_m.head<2>().norm()).margin(6));
        CHECK(number_in(last, "apogee_m") == Approx(flight.truth.events.apogee_m).margin(10));
    }
}

TEST_CASE("a fall without a parachute ends in a warning with where and when") {
    for (const ToldFlight& flight :
         told_all([](std::uint64_t seed) { return told("ballistic", "clean", seed, {}, "demo", true); }, 1)) {
        INFO(flight.title);
        const Eigen::Vector3d lies_m = flight.truth.samples.back().position_enu_m;
        const double impact_s = flight.truth.samples.back().t_s;
        int warned = 0;
        for (const Event* each : flight.sentences()) {
            if (text_in(*each, "form") != "no_parachute") continue;
            ++warned;
            INFO(each->text);
            CHECK(each->level == Level::warning);
            const double left_s = impact_s - ToldFlight::at_s(*each);
            if (left_s <= 0) continue; // of what is past there is neither
            CHECK(number_in(*each, "impact_in_s") == Approx(left_s).margin(1.6));
            CHECK(std::abs(number_in(*each, "distance_m") - lies_m.head<2>().norm()) < 130);
        }
        CHECK(warned > 5);
        // Its radio ends with it: nothing is still to come, and no alert stands.
        std::set<std::string> standing;
        for (const Event& event : flight.events) {
            if (event.kind == EventKind::alert_raised) standing.insert(event.key);
            if (event.kind == EventKind::alert_cleared) standing.erase(event.key);
        }
        CHECK_FALSE(standing.contains("sanderling/descent/no_parachute"));
        CHECK_FALSE(standing.contains("sanderling/descent/impact_expected"));
        const Event& last = *flight.sentences().back();
        INFO(last.text);
        CHECK(last.text.starts_with("Presumed down without a parachute"));
        CHECK(last.level == Level::note);
        CHECK(number_in(last, "impact_ago_s") == Approx(ToldFlight::at_s(last) - impact_s).margin(6.6));
    }
}
