#pragma once
/// Is a sensor after the charge what it was before? Means by Welch's t, spreads by Brown and Forsythe's test
/// (server/analysis/statistics); what is named wrong has to be both certain and large enough to matter.
///
/// Readings that follow one another are alike in real sensors, which makes n of them worth less: with the correlation r
/// of neighbours, n (1 - r) / (1 + r) (G. V. Bayley, J. M. Hammersley, Supplement to the Journal of the Royal
/// Statistical Society 8 (1946), 184-197; for a first-order process, from memory). For the spreads only every k-th
/// reading is taken, k = (1 + r) / (1 - r).
#include <array>
#include <optional>
#include <span>
#include <vector>

#include <Eigen/Geometry>

#include "server/analysis/statistics/comparison.hpp"
#include "shared/words.hpp"

namespace turnstone::analysis {

enum class SensorState : unsigned char {
    well,
    dead,
    stuck,
    offset,
    noisy,
    scale,
    inverted,  ///< an accelerometer: one or more of its axes read with the other sign
    disagrees, ///< an accelerometer: gravity is not where the gyro says that it should be
    unknown
};
consteval auto words_of(SensorState) {
    return words<SensorState::unknown>("well", "dead", "stuck", "offset", "noisy", "scale", "inverted", "disagrees",
                                       "unknown");
}

struct Survival {
    SensorState state = SensorState::unknown;
    double shift = kNone, shift_sigma = kNone, shift_p = kNone; ///< mean after minus mean before
    double least_shift = kNone;                  ///< that this record could have shown, four times in five
    double least_across = kNone;                 ///< the same, named with certainty: an accelerometer's across gravity
    double effect = kNone;                       ///< shift in standard deviations (Hedges' g)
    double noise_ratio = kNone, noise_p = kNone; ///< standard deviation after over before

    /// Neither dead nor stuck: 1 yes, 0 no, NaN: the record cannot say.
    [[nodiscard]] double alive() const {
        if (state == SensorState::dead || state == SensorState::stuck) return 0;
        return state == SensorState::unknown && noise_ratio != noise_ratio ? kNone : 1;
    }
};

/// What matters of a sensor. Common practice, no source.
struct Tolerance {
    double shift;
    double noise_ratio = 1.5;
};
inline constexpr Tolerance kBarometer{.shift = 50};
inline constexpr Tolerance kAccelerometer{.shift = 0.4}; ///< four per cent of gravity
inline constexpr Tolerance kGyro{.shift = 0.02};

/// One quantity. `expected_after`: readings that should have come; fewer than a tenth of them mean that it is dead.
[[nodiscard]] Survival compare(std::span<const double> before, std::span<const double> after, double expected_after,
                               const Tolerance& tolerance);

using Axes = std::array<std::vector<double>, 3>;
/// How the vehicle lies afterwards against before, by its gyro.
struct Turn {
    Eigen::Quaterniond before_from_after; ///< takes a vector of the body as it lies afterwards to the body before
    double sigma_rad;                     ///< about each axis
};
/// At rest, perhaps turned: the specific force's length is what stays, the noise is that of the worst axis. A change
/// along the force itself is taken for one of scale.
///
/// Where the force points to has to be what the turn explains, with its sigma, constant offsets and noise: what is
/// certain beyond that and the tolerance is an offset across gravity, its shift that of the vector, and farther than
/// 20 degrees an axis of the other sign. That is found where it held a sixth of gravity or more (sin 10 degrees), and a
/// vehicle that came to rest upside down is not accused. What offset across gravity could have come unseen is
/// `least_across`; without a turn known to 0.15 rad only the length shows one, a direction that is another is not
/// known, and neither is what read no gravity before, within 1.5 m/s2: it did not rest. Turned by more than 20 degrees
/// a shift of less than 1.5 m/s2, turned over of less than 2, is not known, since constant offsets lie along other
/// axes; the sensor is well if its length is as near to gravity as before, within the tolerance.
[[nodiscard]] Survival compare_accelerometer(const Axes& before, const Axes& after, double expected_after,
                                             std::optional<Turn> turn);
/// At rest: the worst axis counts, its p for the choice among three.
[[nodiscard]] Survival compare_gyro(const Axes& before, const Axes& after, double expected_after);

} // namespace turnstone::analysis
