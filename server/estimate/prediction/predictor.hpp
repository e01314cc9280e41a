#pragma once
/// Predicted apogee and landing, from the pad to the ground, by a seeded Monte Carlo over everything that is uncertain:
/// the state (navigation's covariance), thrust, burn time, drag, mass, parachutes, delays (flight_fit.hpp) and wind
/// (wind_profile.hpp).
///
/// A round takes a snapshot and flies it kFlights times for each case, in slices that fall due one after the other:
/// whoever has time flies them, on another thread too, so that nothing waits for a whole round. Rounds start every 0.5
/// s in flight and every 10 s on the pad, where nothing changes. The random numbers are drawn once, from kSeed: rounds
/// differ by what was measured, not by chance, and replay gives the same bits.
///
/// Ascent interval: the 5 and 95 % quantiles. Landing: of each case that is not ruled out (case_probability.hpp) its
/// probability, mean, 95 % ellipse and fraction outside the site's boundary; their sum weighted with the probabilities
/// is the probability of landing outside (an advisory: the range safety officer decides). The likeliest case is flown
/// by all flights, each other one by one in kShare. A vehicle that does not fly straight is not predicted.
#include <array>
#include <atomic>
#include <memory>
#include <mutex>
#include <optional>
#include <vector>

#include "server/estimate/navigation/navigation.hpp"
#include "server/estimate/phases/phase.hpp"
#include "server/estimate/prediction/case_probability.hpp"
#include "server/estimate/prediction/flight_fit.hpp"
#include "server/estimate/prediction/landing_area.hpp"
#include "server/estimate/prediction/landing_case.hpp"
#include "server/estimate/prediction/trajectories.hpp"
#include "server/estimate/table.hpp"

namespace turnstone::estimate {

/// Where a round starts.
struct PredictionStart {
    std::int64_t t_ns;
    Phase phase;
    double since_ignition_s; ///< under thrust
    Eigen::Vector3d position_enu_m, velocity_enu_mps;
    Eigen::Matrix<double, 6, 6> covariance;
    Eigen::Vector3d nose_enu;          ///< direction of the long axis
    bool place_known;                  ///< horizontal position means something
    double since_apogee_s;             ///< while falling
    ByLandingCase<double> probability; ///< sums to one
};

struct Prediction {
    std::int64_t t_ns;
    bool flown; ///< false: the round was passed over; no figure below means anything
    bool has_apogee, has_landing;
    double apogee_m, apogee_sigma_m, apogee_low_m, apogee_high_m; ///< low and high: 90 % between them
    double apogee_in_s, apogee_in_low_s, apogee_in_high_s;
    ByLandingCase<std::optional<LandingCase>> landing; ///< empty: ruled out
    LandingCaseKind likeliest;
    double outside; ///< probability of landing outside the boundary; NaN without one
};

class Predictor {
  public:
    static constexpr int kFlights = 2048;
    static constexpr std::uint64_t kSeed = 20260214;
    static constexpr int kBlocks = kFlights / kLanes;
    static constexpr int kSteps = kBlocks + 8; ///< of a round; in the last nothing is flown, the figures are made
    static constexpr int kShare = 4;           ///< of the blocks, one in that many flies the less likely cases

    /// Both must outlive it.
    Predictor(const RocketModel& rocket, const Site& site);

    [[nodiscard]] bool busy() const noexcept { return together_->due_steps < kSteps; }
    void start(const PredictionStart& start, const FlightFit& fit, const WindProfile& wind, const DayAtmosphere& air);
    /// That many steps more are due; those of a round that is not `flying` are passed over. Returns the prediction when
    /// they were the round's last, after doing what fly_due() has not.
    std::optional<Prediction> advance(int steps, bool flying = true);
    /// Does a piece of what is due, well under a millisecond. False when nothing is. When it is called, and by which
    /// thread, changes no figure: it may run beside every other function but the destructor.
    bool fly_due();
    /// A quarter of a round is due that nobody has flown yet.
    [[nodiscard]] bool lags() const noexcept {
        return busy() && together_->flying && together_->due_steps - together_->flown_blocks > kSteps / 4;
    }
    [[nodiscard]] bool flat_ground() const noexcept { return conditions_.ground.flat(); }

  private:
    static constexpr int kDraws = 19 + 2 * WindProfile::kNodes;
    [[nodiscard]] bool ascends() const noexcept { return start_.phase <= Phase::coasting; }
    /// The block's way up.
    void climb_block(int index);
    /// `block_` to the ground in one case, in `falling_`, if the block with this index is to fly that case.
    void fall_block(int index, LandingCaseKind kind);
    void fall(LandingCaseKind kind);
    void set_up(FlightBlock& block, int index) const;
    void summarise_apogee();
    void summarise_landing(LandingCaseKind kind);
    [[nodiscard]] Prediction passed_over() const;

    const RocketModel* rocket_;
    const Site* site_;
    FlightConditions conditions_;
    std::vector<Eigen::Vector2d> boundary_;
    std::vector<double> normals_; ///< kDraws for each flight, draws of one block's lanes side by side
    /// What the thread of the measurements shares with one that flies. `pieces` is held for a piece, and while a round
    /// starts; it guards what is below. Behind a pointer, so that a predictor can be moved before its first round.
    struct Together {
        std::mutex pieces;
        std::atomic<int> due_steps = kSteps;
        std::atomic<bool> flying = true;
        std::atomic<int> flown_blocks = kBlocks; ///< kBlocks: the figures are being made
    };
    std::unique_ptr<Together> together_ = std::make_unique<Together>();
    std::size_t piece_ = 0; ///< of a block, or of making the figures: first the way up, then a case each
    Prediction prediction_{};
    PredictionStart start_{};
    Factor thrust_{1, 0}, drag_{1, 0};
    std::array<Factor, 2> parachute_{Factor{1, 0}, Factor{1, 0}};
    Eigen::Matrix<double, 6, 6> state_root_;
    WindProfile::Covariance wind_root_;
    WindProfile::Nodes wind_east_, wind_north_;
    FlightBlock block_, falling_;
    std::vector<double> apogee_m_, apogee_s_;
    ByLandingCase<std::vector<Eigen::Vector3d>> landings_; ///< east, north, time
};

} // namespace turnstone::estimate
