#pragma once
/// Predictions in the chain: what they start from, when, the tables "ascent" and "landing" and the boundary advisory.
///
/// State from navigation while it is valid; without it from the vertical filter, leaning as the rail does: then apogee
/// is predicted and landing is not. Under a canopy the vehicle drifts with the air it hung in v / g seconds ago; that
/// drift is measured into the wind profile every 3 s, and the descent rate into the canopy's area. Rounds start with
/// ticks (10 Hz); each inertial sample flies a small slice, and ticks fly larger ones while there are none.
#include <optional>
#include <vector>

#include "server/estimate/chain/flight_state.hpp"
#include "server/estimate/navigation/navigation.hpp"
#include "server/estimate/prediction/predictor.hpp"
#include "server/estimate/table.hpp"

namespace turnstone {

class PredictionStage {
  public:
    /// `rocket` and `site` must outlive it. Appends its tables to `tables`.
    PredictionStage(const RocketModel& rocket, const Site& site, std::vector<EstimateTable>& tables);

    void imu(const ImuSample& sample, const Navigation* navigation, const FlightState& flight, const WindProfile& wind,
             EstimateSink& sink);
    void tick(std::int64_t t_ns, const Navigation* navigation, const FlightState& flight, WindProfile& wind,
              EstimateSink& sink);

    /// Between the beginnings of rounds in flight; on the pad, where nothing changes, twenty times as long.
    void set_period(double period_s) noexcept { period_s_ = period_s; }

  private:
    [[nodiscard]] std::optional<PredictionStart> state(std::int64_t t_ns, const Navigation* navigation,
                                                       const FlightState& flight) const;
    void learn_ascent(const ImuSample& sample, const Navigation* navigation, const FlightState& flight,
                      const WindProfile& wind);
    void advance(int blocks, const WindProfile& wind, EstimateSink& sink);
    void learn_descent(std::int64_t t_ns, const Navigation* navigation, const FlightState& flight, WindProfile& wind);
    void report(const Prediction& prediction, const WindProfile& wind, EstimateSink& sink);
    void watch_boundary(const Prediction& prediction, EstimateSink& sink);

    const RocketModel* rocket_;
    const Site* site_;
    LocalFrame frame_;
    double gravity_mps2_;
    FlightFit fit_;
    Predictor predictor_;
    std::size_t ascent_table_, landing_table_;
    Phase phase_ = Phase::on_pad;
    double period_s_ = 0.5;
    std::int64_t t_phase_ns_ = 0, t_round_ns_ = 0, t_drift_ns_ = 0;
    bool imu_since_tick_ = false;
    bool ground_announced_ = false;
    bool outside_announced_ = false;
};

} // namespace turnstone
