#pragma once
/// Flies a simulator scenario straight into a FlightEstimator: sensor readings in packets, some of them lost, with the
/// truth beside the result. The simulator integrates six degrees of freedom with its own thrust, drag, parachute and
/// sensor models; the estimators know none of them and share only physical constants with it, so agreement is evidence.
#include <cmath>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "server/estimate/chain/flight_estimator.hpp"
#include "shared/time.hpp"
#include "tests/support/scenario.hpp"
#include "tools/sim/avionics/sensors.hpp"
#include "tools/sim/truth/random.hpp"

namespace turnstone::test {

inline constexpr std::int64_t kRunStart_ns = 1'700'000'000'000'000'000;

struct Reception {
    double loss = 0.0;             ///< probability that a packet (four inertial samples, or one pressure) is lost
    double fades_per_minute = 0.0; ///< everything is lost for fade_s
    double fade_s = 2.0;
    bool inertial = true;
    bool pressure = true;
};

/// Keeps what estimators announce.
class Collector final : public EventSink {
  public:
    void event(EstimateEvent event) override { events.push_back(std::move(event)); }
    [[nodiscard]] const EstimateEvent* find(EventId id) const {
        for (const EstimateEvent& event : events)
            if (event.id == id) return &event;
        return nullptr;
    }
    std::vector<EstimateEvent> events;
};

/// A FlightEstimator with the picture it writes into; attitude is unknown.
class LoneFlight {
  public:
    LoneFlight(const Vehicle& vehicle, const Site& site, bool inertial, bool pressure)
        : estimator_(vehicle, site, inertial, pressure), wind_(site) {
        picture_.wind = &wind_;
    }
    LoneFlight(const LoneFlight&) = delete; // the picture points into it
    LoneFlight& operator=(const LoneFlight&) = delete;
    void imu(const ImuSample& sample, EventSink& events) { keep(estimator_.imu(sample, picture_, events)); }
    void pressure(const PressureSample& sample, EventSink& events) {
        keep(estimator_.pressure(sample, picture_, events));
    }
    void tick(std::int64_t t_ns, EventSink& events) { keep(estimator_.tick(t_ns, picture_, events)); }
    void reboot() { estimator_.reboot(); }
    [[nodiscard]] const estimate::PhaseDetector& phases() const { return estimator_.phases(); }
    [[nodiscard]] const estimate::FlightPicture& picture() const { return picture_; }
    /// Everything estimated so far, in order: altitudes, speeds, accelerations, pressure altitudes with their sigmas.
    [[nodiscard]] const std::vector<double>& estimates() const { return estimates_; }

  private:
    void keep(const estimate::FlightEstimator::News& news) {
        if (const auto& v = news.vertical)
            estimates_.insert(estimates_.end(), {v->altitude_m, v->altitude_sigma_m, v->vertical_speed_mps,
                                                 v->vertical_speed_sigma_mps, v->acceleration_mps2, v->nis_mean});
        if (news.air)
            estimates_.insert(estimates_.end(), {picture_.air->heights.above_pad_m, picture_.air->altitude_sigma_m});
    }

    estimate::FlightEstimator estimator_;
    estimate::WindProfile wind_;
    estimate::FlightPicture picture_;
    std::vector<double> estimates_;
};

/// How many of two runs' estimates differ; NaN equals NaN.
inline int differences(const std::vector<double>& a, const std::vector<double>& b) {
    if (a.size() != b.size()) return static_cast<int>(std::max(a.size(), b.size()));
    int different = 0;
    for (std::size_t k = 0; k < a.size(); ++k) different += !(a[k] == b[k] || (std::isnan(a[k]) && std::isnan(b[k])));
    return different;
}

struct Flight {
    sim::Scenario scenario;
    sim::Truth truth;
    sim::SensorStream sensors;
};

inline Flight make_flight(const std::string& scenario_name, std::uint64_t seed, bool disperse) {
    Flight flight{demo_scenario(scenario_name), {}, {}};
    flight.scenario.disperse = disperse;
    flight.truth = sim::run_truth(sim::make_setup(flight.scenario, seed), flight.scenario.kind,
                                  flight.scenario.after_touchdown_s, 120.0);
    flight.sensors = sim::sense(flight.truth, flight.scenario, seed);
    return flight;
}

/// Runs the sensors through `state`; packets arrive when their last sample is made, ticks every 100 ms.
inline void fly(const Flight& flight, const Reception& reception, std::uint64_t seed, LoneFlight& state,
                Collector& out) {
    sim::Random random(seed, "reception");
    const auto at = [](double t_s) { return kRunStart_ns + seconds_to_ns(t_s); };
    const double end_s = flight.truth.samples.back().t_s;
    std::vector<double> fades_s;
    if (reception.fades_per_minute > 0.0) {
        for (double t_s = 0.0; t_s < end_s;) {
            t_s += -std::log(1.0 - random.uniform(0.0, 1.0)) * 60.0 / reception.fades_per_minute;
            fades_s.push_back(t_s);
        }
    }
    const auto received = [&](double t_s) {
        const bool by_chance = random.uniform(0.0, 1.0) >= reception.loss;
        for (const double fade_s : fades_s)
            if (t_s >= fade_s && t_s < fade_s + reception.fade_s) return false;
        return by_chance;
    };
    std::size_t p = 0;
    double next_tick_s = 0.1;
    const auto& imu = flight.sensors.imu;
    const auto& pressure = flight.sensors.pressure;
    for (std::size_t i = 0; i < imu.size() || p < pressure.size();) {
        const std::size_t last = std::min(i + 4, imu.size());
        const double packet_s = i < imu.size() ? imu[last - 1].t_s : 1e9;
        const double pressure_s = p < pressure.size() ? pressure[p].t_s : 1e9;
        const double now_s = std::min(packet_s, pressure_s);
        for (; next_tick_s <= now_s; next_tick_s += 0.1) state.tick(at(next_tick_s), out);
        if (pressure_s < packet_s) {
            if (received(pressure_s) && reception.pressure)
                state.pressure({at(pressure_s), pressure[p].pressure_pa, pressure[p].temperature_k}, out);
            ++p;
            continue;
        }
        const bool heard = received(packet_s) && reception.inertial;
        for (; i < last; ++i)
            if (heard) state.imu({at(imu[i].t_s), imu[i].accel_body_mps2, imu[i].rate_body_radps}, out);
    }
    for (; next_tick_s <= end_s + 1.0; next_tick_s += 0.1) state.tick(at(next_tick_s), out);
}

/// Times the truth gives for the moments the detector looks for; NaN where it did not happen.
inline std::map<EventId, double> true_moments(const sim::Truth& truth) {
    const auto ejection = [&](std::size_t i) {
        for (const sim::Ejection& e : truth.events.ejections)
            if (e.parachute == i) return e.t_s;
        return std::numeric_limits<double>::quiet_NaN();
    };
    return {{EventId::liftoff, truth.events.liftoff_s}, {EventId::burnout, truth.events.burnout_s},
            {EventId::apogee, truth.events.apogee_s},   {EventId::drogue_out, ejection(0)},
            {EventId::main_out, ejection(1)},           {EventId::touchdown, truth.events.touchdown_s}};
}

} // namespace turnstone::test
