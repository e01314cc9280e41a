#include "tools/trials/trial.hpp"

#include <algorithm>
#include <ctime>
#include <filesystem>
#include <map>
#include <numbers>
#include <stdexcept>
#include <thread>

#include <nlohmann/json.hpp>

#include "server/pipeline/station/pipeline.hpp"
#include "shared/constants.hpp"
#include "shared/json_reader.hpp"
#include "shared/time.hpp"
#include "tools/sim/avionics/plain_packets.hpp"
#include "tools/sim/fly.hpp"
#include "tools/trials/scorer.hpp"

namespace turnstone::trials {

namespace {

const std::filesystem::path kDemo = std::filesystem::path(TURNSTONE_SOURCE_DIR) / "tools/demo";
/// No round is under way when one is asked for, and one that is has this long to end.
constexpr double kBeforeAsked_s = 0.6, kAfterAsked_s = 0.7;
constexpr double kPredictionPeriod_s = 0.5; ///< a station's own

double thread_cpu_s() {
    timespec now{};
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
    return static_cast<double>(now.tv_sec) + 1e-9 * static_cast<double>(now.tv_nsec);
}

/// Which rounds of predictions are started and flown, as the flight goes on.
class Rounds {
  public:
    Rounds(Pipeline& pipeline, const std::vector<AskedCheckpoint>& asked) : pipeline_(&pipeline), asked_(&asked) {
        pipeline.fly_one_prediction_in(0);
    }
    /// Everything up to `t_s` is about to be taken in: packets may be a second apart, and ticks lie between them.
    void go_on(double t_s, Batch& batch) {
        for (; next_ < asked_->size(); ++next_) {
            const double asked_s = (*asked_)[next_].t_s;
            pass_over(std::min(t_s, asked_s - kBeforeAsked_s), batch);
            if (t_s <= asked_s - kBeforeAsked_s) return;
            pipeline_->set_prediction_period(kInfinity);
            if (t_s < asked_s) return;
            // The first tick from then on starts a round; it ends with the samples and ticks that follow.
            advance(asked_s, batch);
            pipeline_->fly_one_prediction_in(1);
            pipeline_->set_prediction_period(0);
            advance(asked_s + 0.1, batch);
            pipeline_->set_prediction_period(kInfinity);
            flown_until_s_ = asked_s + kAfterAsked_s;
        }
        pass_over(t_s, batch);
    }

  private:
    /// From the end of a round that is flown on.
    void pass_over(double t_s, Batch& batch) {
        if (t_s < flown_until_s_) return;
        advance(flown_until_s_, batch);
        pipeline_->fly_one_prediction_in(0);
        pipeline_->set_prediction_period(kPredictionPeriod_s);
        advance(t_s, batch);
    }
    void advance(double t_s, Batch& batch) {
        if (t_s > 0) pipeline_->advance(kStart_ns + seconds_to_ns(t_s), batch);
    }

    Pipeline* pipeline_;
    const std::vector<AskedCheckpoint>* asked_;
    std::size_t next_ = 0;
    double flown_until_s_ = 0;
};

} // namespace

std::string to_string(Checkpoint checkpoint) {
    switch (checkpoint) {
    case Checkpoint::on_rail: return "on the rail";
    case Checkpoint::under_thrust: return "0.8 s after liftoff";
    case Checkpoint::one_after_burnout: return "1 s after burnout";
    case Checkpoint::two_after_burnout: return "2 s after burnout";
    case Checkpoint::three_before_apogee: return "3 s before apogee";
    case Checkpoint::apogee: return "at apogee";
    case Checkpoint::ten_before_touchdown: return "10 s before touchdown";
    }
    return "";
}

const QuantityText& text_of(Quantity quantity) {
    static constexpr std::array<QuantityText, kQuantities> kTexts{{{"air data: altitude AGL", "m", "%.1f"},
                                                                   {"air data: Mach", "", "%.3f"},
                                                                   {"air data: dynamic pressure", "Pa", "%.0f"},
                                                                   {"vertical: altitude AGL", "m", "%.1f"},
                                                                   {"vertical: speed", "m/s", "%.2f"},
                                                                   {"navigation: east, north", "m", "%.1f"},
                                                                   {"navigation: up", "m", "%.1f"},
                                                                   {"navigation: velocity east, north", "m/s", "%.2f"},
                                                                   {"navigation: velocity up", "m/s", "%.2f"},
                                                                   {"navigation: long axis", "deg", "%.1f"},
                                                                   {"antenna: azimuth", "deg", "%.2f"},
                                                                   {"antenna: elevation", "deg", "%.2f"}}};
    return kTexts.at(static_cast<std::size_t>(quantity));
}

void Tally::add(const Tally& other) {
    errors.add(other.errors);
    covered_s += other.covered_s;
    lasted_s += other.lasted_s;
}

void HealthTally::add(const HealthTally& other) {
    rows += other.rows;
    consistent += other.consistent;
    conservative += other.conservative;
    overconfident += other.overconfident;
}

Tally TrialScore::of(Quantity quantity, std::span<const sim::TruePhase> phases) const {
    Tally all;
    for (const sim::TruePhase phase : phases)
        all.add(tallies[static_cast<std::size_t>(quantity)][static_cast<std::size_t>(phase)]);
    return all;
}

void Errors::add(double error, double sigma) {
    if (!std::isfinite(error)) return;
    square_sum += error * error;
    worst = std::max(worst, std::abs(error));
    ++count;
    if (!(sigma > 0)) return;
    normalised_square_sum += error * error / (sigma * sigma);
    ++normalised_count;
}

void Errors::add(const Errors& other) {
    square_sum += other.square_sum;
    normalised_square_sum += other.normalised_square_sum;
    worst = std::max(worst, other.worst);
    count += other.count;
    normalised_count += other.normalised_count;
}

sim::Scenario trial_scenario(const std::string& name, const std::string& impairment, const std::string& errors) {
    auto made = sim::make_scenario(name, kDemo / "sanderling", kDemo / "site.json");
    if (!made) throw std::runtime_error(made.error().message);
    const auto named = sim::impairment_from_name(impairment);
    if (!named) throw std::runtime_error("no impairment " + impairment);
    const auto set = sim::error_set_from_name(errors);
    if (!set) throw std::runtime_error("no error set " + errors);
    made->impairment = *named;
    made->errors = *set;
    made->disperse = true;
    return std::move(*made);
}

PipelineSetup trial_setup(const sim::Scenario& scenario) {
    std::vector<Problem> problems;
    PipelineSetup setup;
    const auto dictionary = scenario.telemetry == sim::Telemetry{}
                                ? parse_json_file(kDemo / "sanderling/dictionary.json", problems)
                                : std::optional(sim::plain_dictionary(scenario.telemetry, scenario.vehicle.name));
    if (dictionary) {
        VehicleSetup vehicle;
        vehicle.dictionary = read_dictionary(*dictionary, "dictionary.json", problems);
        vehicle.vehicle = scenario.vehicle;
        setup.vehicles.push_back(std::move(vehicle));
    }
    if (!problems.empty()) throw std::runtime_error(to_string(problems));
    setup.site = scenario.site;
    setup.links = {{"radio", "trial:", 0}};
    return setup;
}

TrialScore run_trial(const sim::Scenario& scenario, std::uint64_t seed) {
    const double began_cpu_s = thread_cpu_s();
    const sim::FlightResult flight = sim::fly(scenario, seed);
    const PipelineSetup setup = trial_setup(scenario);
    Pipeline pipeline(setup, kStart_ns);
    Scorer scorer(flight, scenario, pipeline.schema());
    Rounds rounds(pipeline, scorer.checkpoints());
    Batch batch;
    const auto take = [&] {
        scorer.take(batch);
        batch.clear();
    };
    for (const sim::Delivery& delivery : flight.received.deliveries) {
        rounds.go_on(delivery.t_end_s, batch);
        const std::int64_t t_ns = kStart_ns + seconds_to_ns(delivery.t_end_s);
        const auto bytes = std::as_bytes(std::span(flight.received.bytes).subspan(delivery.offset, delivery.size));
        pipeline.chunk(0, t_ns, t_ns, bytes, batch);
        take();
    }
    pipeline.advance(kStart_ns + seconds_to_ns(flight.truth.samples.back().t_s + 60), batch);
    take();
    TrialScore score = scorer.score();
    score.cpu_s = thread_cpu_s() - began_cpu_s;
    return score;
}

std::vector<TrialScore> run_trials(const sim::Scenario& scenario, std::uint64_t first, int count) {
    std::vector<TrialScore> scores(static_cast<std::size_t>(count));
    const unsigned workers = std::max(1U, std::thread::hardware_concurrency());
    std::vector<std::jthread> threads;
    for (unsigned worker = 0; worker < workers; ++worker) {
        threads.emplace_back([&, worker] {
            for (std::size_t k = worker; k < scores.size(); k += workers) scores[k] = run_trial(scenario, first + k);
        });
    }
    threads.clear();
    return scores;
}

} // namespace turnstone::trials
