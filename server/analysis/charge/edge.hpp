#pragma once
/// When something began, and how well the readings tell.
///
/// Model: up to the edge the signal keeps a level, from the edge on it leaves it along a straight line. The likelihood
/// of every possible time of the edge follows from the readings up to where half of the excursion is reached, with
/// level and slope taken out (their least squares and their widths); readings that are means over an interval are
/// compared with the mean of the model. Real excursions are not straight and other things move a vehicle: a part of the
/// reading and of the excursion counts as uncertain beside the noise. The time is the mean of that distribution, sigma
/// its spread with a part of the rise, for a curvature that no reading shows.
///
/// A single reading beyond the level therefore says "somewhere in the interval before", and several say where between.
/// Change of a slope at an unknown time by likelihood: D. V. Hinkley, Biometrika 58 (1971), 509-523 (from memory); the
/// weights are ours, chosen on charges simulated with other seeds than those that tests/analysis/charge measures them
/// on.
#include "server/analysis/charge/signal.hpp"

namespace turnstone::analysis {

struct Edge {
    double t_s = kNone; ///< NaN: none
    double sigma_s = kNone;
    [[nodiscard]] bool found() const { return t_s == t_s; }
};

struct Excursion {
    double level = 0;     ///< that it leaves
    double noise = 0;     ///< 1-sigma of a reading
    double threshold = 0; ///< the least size that counts
    double of_peak = 0.4; ///< and the least part of the greatest excursion
    [[nodiscard]] double least(double peak) const { return std::max(threshold, of_peak * peak); }
};

/// The first excursion of sign `sign` between the times.
[[nodiscard]] Edge find_edge(const Signal& signal, double from_s, double until_s, double sign, const Excursion& of);

} // namespace turnstone::analysis
