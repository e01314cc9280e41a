#pragma once
/// Where the vehicle is and how it moves, from GNSS fixes and heights alone: what stands under the attitude filter, and
/// all there is for a vehicle without inertial sensors. It needs no attitude and is never thrown away: in a gap its
/// sigmas grow, and the next fix finds the vehicle again.
///
/// States: position, velocity, acceleration (east, north, up at the pad; acceleration in all, gravity not split off),
/// as late as fixes are and shown on time, the receiver's slowly wandering position error (first-order Gauss-Markov),
/// what the fix delay differs from the file by, the pad's height on the receiver's scale, and the slow error of heights
/// from pressure. Acceleration follows R. A. Singer, IEEE Trans. AES-6(4), 1970, 473-483; its size and time are the
/// caller's (expect).
///
/// Measurements may come late: each is used at the time at which it was true, by going back to the state before it and
/// on again through those since (History below). What is older than the history is dropped. A measurement that does not
/// fit is first explained by a manoeuvre harder than expected (a height at rest: one upwards), then believed less,
/// then, after kRecovery_s of them, believed instead of the filter. NaN components are not used. Deterministic; no
/// allocation after construction.
#include <cstdint>
#include <optional>

#include <Eigen/Core>

#include "server/estimate/math/history.hpp"
#include "server/estimate/sensors/fix_scatter.hpp"
#include "server/estimate/smoothing/forward_pass.hpp"
#include "server/estimate/translation/translation_estimate.hpp"
#include "server/estimate/translation/translation_state.hpp"
#include "shared/vehicle.hpp"

namespace turnstone::estimate {

/// A fix east-north-up at the pad. NaN components were not measured (all of the velocity, the height of a 2-D fix).
struct TranslationFix {
    std::int64_t t_ns;           ///< of the packet
    std::int64_t t_valid_ns = 0; ///< when it was true, by the receiver's time; 0: the packet's time less the told delay
    Eigen::Vector3d position_enu_m, velocity_enu_mps;
    double horizontal_sigma_m, vertical_sigma_m, speed_sigma_mps;
    FixScatterFactors scatter = {};
};

struct TranslationSettings {
    TranslationErrors errors;
    double fix_delay_s = 0.1;    ///< from time of validity to the packet's time, as told
    double white_fraction = 0.1; ///< of a fix's stated variance: what is new in each fix
};
[[nodiscard]] TranslationSettings translation_settings(const SensorNoise& sensors);

class TranslationFilter {
  public:
    /// Fixes and heights that do not fit are left out for this long; then the filter gives way to them.
    static constexpr double kRecovery_s = 3.0;

    explicit TranslationFilter(const TranslationSettings& settings);
    /// Begins from what is known at a time.
    TranslationFilter(const TranslationSettings& settings, const TranslationState& known, std::int64_t t_ns);

    void fix(const TranslationFix& fix);
    /// Height above the pad from static pressure. `noise_m` is new in each sample, `systematic_m` wanders slowly.
    void height(std::int64_t t_ns, double above_pad_m, double noise_m, double systematic_m);
    /// The vehicle should be standing on the pad. Taken for a measurement of the place, a few metres wide, unless fixes
    /// say that it moves or is elsewhere: what shows how high the pad is on the receiver's scale.
    void on_the_rail(std::int64_t t_ns);
    /// Accelerations to expect from the next measurement on.
    void expect(const Manoeuvre& manoeuvre) noexcept { manoeuvre_ = manoeuvre; }
    /// Brings the estimate to `t_ns`, never back.
    void advance(std::int64_t t_ns) noexcept;

    /// From here on leaves its steps in `pass`, which must outlive it, each once nothing later can come before it;
    /// null: no longer.
    void leave_steps(ForwardPass<TranslationState::kSize>* pass) noexcept { forward_ = pass; }
    /// Leaves those too that something might still have come before.
    void leave_last_steps();

    [[nodiscard]] TranslationEstimate estimate() const;
    /// Of the newest measurement in it; 0: none.
    [[nodiscard]] std::int64_t t_measured_ns() const { return newest().t_ns; }
    /// The pad's height on the receiver's scale against the site file, with its 1-sigma.
    [[nodiscard]] double datum_m() const { return newest().state.value(TranslationState::kDatum); }
    [[nodiscard]] double datum_sigma_m() const { return newest().state.sigma(TranslationState::kDatum); }
    /// How much older fixes are than told, with its 1-sigma.
    [[nodiscard]] double delay_s() const { return newest().state.value(TranslationState::kDelay); }
    [[nodiscard]] double delay_sigma_s() const { return newest().state.sigma(TranslationState::kDelay); }
    /// Of the newest fix that was believed; 0: none.
    [[nodiscard]] std::int64_t t_fix_ns() const { return newest().t_fix_ns; }
    [[nodiscard]] std::uint32_t rejected_fixes() const { return newest().rejected_fixes; }

  private:
    enum class Kind : unsigned char { fix, height, place };
    struct Measurement {
        std::int64_t t_ns = 0;
        Kind kind = Kind::fix;
        Eigen::Matrix<double, 6, 1> value = Eigen::Matrix<double, 6, 1>::Constant(kNaN); ///< height: the first
        Eigen::Matrix<double, 6, 1> sigma = Eigen::Matrix<double, 6, 1>::Constant(kNaN); ///< white part
        double systematic = 0;                                                           ///< of a height, 1-sigma
        Manoeuvre manoeuvre = {};
    };
    /// All that is known after a measurement; going back to one forgets everything since.
    struct Belief {
        explicit Belief(const TranslationErrors& errors) : state(errors) {}
        std::int64_t t_ns = 0;
        TranslationState state;
        bool placed = false;                        ///< the motion's states mean something, if only with huge sigmas
        std::int64_t t_fix_ns = 0, t_height_ns = 0; ///< newest
        std::int64_t t_plain_ns = 0, t_plain_before_ns = 0; ///< of heights that showed no climb: newest, the one before
        std::int64_t fix_unfit_since_ns = 0, height_unfit_since_ns = 0; ///< 0: the last one fitted
        std::uint32_t rejected_fixes = 0;
        bool may_begin = false;     ///< of the manoeuvre expected so far
        std::int64_t t_left_ns = 0; ///< of the newest measurement that only a manoeuvre from rest explains; 0: none
    };
    struct Step {
        Measurement measurement = {};
        Belief after = Belief(TranslationErrors{});
    };

    using Forward = ForwardPass<TranslationState::kSize>;
    /// What a step leaves behind; a null one leaves nothing.
    struct Trail {
        Forward* forward;
        void move(const TranslationState::Matrix& transition) const;
        void begin_again(int first, int step, int count) const;
        void keep(std::int64_t t_ns, const TranslationState& predicted, const TranslationState& corrected) const;
    };

    void take(const Measurement& measurement);
    [[nodiscard]] Belief taken(const Belief& before, const Measurement& measurement,
                               const Trail& trail = {nullptr}) const;
    /// `manoeuvre`, or that of what has left its rest.
    [[nodiscard]] static const Manoeuvre& expected(const Belief& belief, std::int64_t t_ns, const Manoeuvre& manoeuvre);
    /// True when the state moved; false when there is none yet, or no time has passed.
    bool predict(Belief& belief, std::int64_t t_ns, const Manoeuvre& manoeuvre) const;
    void show_ahead(Belief& belief) const;
    void take_fix(Belief& belief, const Measurement& measurement, const Trail& trail) const;
    void take_height(Belief& belief, const Measurement& measurement, const Trail& trail) const;
    void take_place(Belief& belief, const Trail& trail) const;
    void correct(Belief& belief, const TranslationState::Observation& seen, const Trail& trail) const;
    void leave_oldest();
    [[nodiscard]] const Belief& newest() const { return history_.empty() ? before_ : history_.back().after; }

    TranslationSettings settings_;
    Manoeuvre manoeuvre_;
    Belief before_; ///< before everything in the history
    History<Step> history_;
    std::int64_t t_shown_ns_ = 0, t_pad_ns_ = 0;
    Forward* forward_ = nullptr;
};

} // namespace turnstone::estimate
