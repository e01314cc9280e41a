#pragma once
/// The estimators of one vehicle, and the order in which they feed each other: one line each, no registry.
///
/// The chain is a pure function of the calls made on it. Measurements come in the order of reception. Their t_ns is the
/// mapped on-board time: it may step back a little between packets, and never lies after the next tick. Ticks come at
/// whole multiples of 100 ms of station time, with or without measurements.
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "server/estimate/air/air_data.hpp"
#include "server/estimate/inputs.hpp"
#include "server/estimate/measurements.hpp"
#include "server/estimate/navigation/backward/attitude_pass.hpp"
#include "server/estimate/smoothing/forward_pass.hpp"
#include "server/estimate/table.hpp"
#include "server/estimate/translation/translation_state.hpp"
#include "server/estimate/vertical/vertical_model.hpp"
#include "shared/site.hpp"
#include "shared/vehicle.hpp"

namespace turnstone::estimate {

/// What a chain's filters leave behind for backward passes. Position and velocity stand on the translation filter;
/// navigation's is gone back along for the attitude alone.
struct StepsLeft {
    ForwardPass<kVerticalStates> vertical;
    ForwardPass<TranslationState::kSize> translation;
    AttitudePass attitude;
    double reference_sigma_m = 0;     ///< by which all heights above the pad may be wrong together
    std::optional<DayAtmosphere> day; ///< of a vehicle that flies, as it is taken to be at the end
};

class EstimatorChain {
  public:
    /// `site` must outlive the chain; `vehicle` is copied.
    EstimatorChain(const Vehicle& vehicle, const Site& site, const ChainInputs& inputs);
    ~EstimatorChain();
    EstimatorChain(EstimatorChain&&) noexcept;

    /// Constant for the life of the chain; EstimateSink::row names them by index.
    [[nodiscard]] const std::vector<TableDescription>& tables() const noexcept;
    [[nodiscard]] const std::vector<MissingInput>& missing() const noexcept;

    void imu(const ImuSample& sample, EstimateSink& sink);
    void pressure(const PressureSample& sample, EstimateSink& sink);
    void fix(const FixSample& sample, EstimateSink& sink);
    void mag(const MagSample& sample);
    void onboard(const OnboardSample& sample, EstimateSink& sink);
    /// Wind at the pad, from this vehicle or another (a weather station is a vehicle of its own). Only rockets use it.
    void wind(const WindSample& sample);
    /// The same of this vehicle's own anemometer: mean and gust.
    void anemometer(const WindSample& sample, EstimateSink& sink);
    void engine(const EngineSample& sample, EstimateSink& sink);
    void tick(std::int64_t t_ns, EstimateSink& sink);
    /// The vehicle's computer rebooted. Altitude and phase go on.
    void reboot();

    /// The engine had run this long before now (finite, at least 0). False without an engine.
    bool continue_engine(double running_s);
    /// Total running time; empty without an engine.
    [[nodiscard]] std::optional<double> engine_running_s() const;
    /// Seconds between starts of predictions in flight, 0.5 unless set; infinity: none. They cost more than everything
    /// else together, so trials over many flights ask for them at chosen moments only.
    void set_prediction_period(double period_s);
    /// No round of predictions starts while paused.
    void pause_predictions(bool paused);
    /// Of the rounds, one in that many is flown; 0: none. The others keep their place in time and give no figures.
    void fly_one_prediction_in(std::uint64_t rounds);
    /// Flies a little of a prediction that is due. False when nothing is. As Predictor::fly_due.
    bool fly_due();
    /// A round is under way.
    [[nodiscard]] bool predicting() const noexcept;
    [[nodiscard]] bool predictions_lag() const noexcept; ///< see Predictor::lags
    /// What the last flown round said of the boundary, when rounds since then were passed over.
    void recall_outside(std::string_view case_stem, bool outside);
    /// From here on its filters leave their steps in `steps`, which must outlive it; null: no longer. Changes no
    /// figure.
    void leave_steps(StepsLeft* steps);
    /// The last ones, which late measurements might still have come before.
    void leave_last_steps();
    /// Liftoff of the flight that the estimates are of; empty on the rail.
    [[nodiscard]] std::optional<std::int64_t> away_since_ns() const;

  private:
    struct State;
    std::unique_ptr<State> state_;
};

} // namespace turnstone::estimate
