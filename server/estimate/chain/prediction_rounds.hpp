#pragma once
/// When a round of predictions starts, from which state, and what it learns from the flight.
///
/// The state is navigation's while that is valid, else the translation filter's with the vertical filter's up and down,
/// else the vertical filter's alone, leaning as the rail does: then apogee is predicted and landing is not. Under a
/// parachute the vehicle drifts with the air it hung in v / g seconds ago; that drift is measured into the wind profile
/// every 3 s, and the descent rate into the parachute's area. Rounds start with ticks (10 Hz). Their blocks fall due
/// evenly over a third of a second, with each inertial sample and each tick.
#include <cstdint>
#include <optional>

#include "server/estimate/chain/picture.hpp"
#include "server/estimate/measurements.hpp"
#include "server/estimate/navigation/navigation.hpp"
#include "server/estimate/prediction/flight_fit.hpp"
#include "server/estimate/prediction/prediction_refusal.hpp"
#include "server/estimate/prediction/predictor.hpp"

namespace turnstone::estimate {

class PredictionRounds {
  public:
    /// `rocket` and `site` must outlive it.
    PredictionRounds(const RocketModel& rocket, const Site& site);

    /// Each returns a prediction when it ends a round. `navigation` may be null; the drift seen is added to `wind`.
    [[nodiscard]] std::optional<Prediction> imu(const ImuSample& sample, const FlightPicture& picture);
    [[nodiscard]] std::optional<Prediction> tick(std::int64_t t_ns, const FlightPicture& picture,
                                                 const Navigation* navigation, WindProfile& wind);

    /// Between starts of rounds in flight; on the rail, where nothing changes, twenty times as long.
    void set_period(double period_s) noexcept { period_s_ = period_s; }
    /// No round starts while paused.
    void pause(bool paused) noexcept { paused_ = paused; }
    /// Of the rounds, one in that many is flown; 0: none. The others keep their place in time and give no figures.
    void fly_one_in(std::uint64_t rounds) noexcept {
        fly_one_in_ = rounds;
        flying_ = rounds == 1 || (flying_ && rounds > 0);
    }
    bool fly_due() { return predictor_.fly_due(); } ///< see Predictor
    [[nodiscard]] bool busy() const noexcept { return predictor_.busy(); }
    [[nodiscard]] bool lags() const noexcept { return predictor_.lags(); }
    [[nodiscard]] const FlightFit& fit() const noexcept { return fit_; }
    /// The state that a round was last asked to start from, and why it did not.
    struct Asked {
        PredictionRefusal refusal = PredictionRefusal::none;
        PredictionStart from{};
    };
    [[nodiscard]] const Asked& asked() const noexcept { return asked_; }
    [[nodiscard]] bool flat_ground() const noexcept { return predictor_.flat_ground(); }

  private:
    void follow_phase(std::int64_t t_ns, Phase phase);
    void learn_ascent(const ImuSample& sample, const FlightPicture& picture);
    void learn_descent(std::int64_t t_ns, const FlightPicture& picture, const Navigation* navigation,
                       WindProfile& wind);
    /// How it moves over the ground, from fixes; empty: not known.
    struct Drift {
        Eigen::Vector3d position_m, velocity_mps;
        double sigma_mps; ///< of a horizontal component
    };
    [[nodiscard]] static std::optional<Drift> drift_of(const FlightPicture& picture, const Navigation* navigation);
    [[nodiscard]] std::optional<PredictionStart> start(std::int64_t t_ns, const FlightPicture& picture,
                                                       const Navigation* navigation) const;
    [[nodiscard]] PredictionStart start_from_translation(const FlightPicture& picture) const;
    [[nodiscard]] PredictionStart start_from_vertical(const VerticalEstimate& vertical, const DayAtmosphere& air) const;
    [[nodiscard]] DescentSeen descent_seen(const PredictionStart& from, const FlightPicture& picture) const;
    std::optional<Prediction> advance_to(std::int64_t t_ns);

    const RocketModel* rocket_;
    const Site* site_;
    double gravity_mps2_;
    FlightFit fit_;
    Predictor predictor_;
    Phase phase_ = Phase::on_rail;
    double period_s_ = 0.5;
    std::int64_t t_phase_ns_ = 0, t_round_ns_ = 0, t_drift_ns_ = 0;
    std::optional<double> way_left_; ///< m/s through the air, horizontally, when this phase under a parachute began
    int steps_due_ = 0;              ///< of the round under way
    Asked asked_;
    bool paused_ = false;
    bool flying_ = true; ///< the round under way
    std::uint64_t fly_one_in_ = 1, rounds_ = 0;
};

} // namespace turnstone::estimate
