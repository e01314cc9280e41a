#pragma once
/// The shock response spectrum: how hard a shock would shake things of one natural frequency each.
///
/// Each is a mass on a spring with damping 1 / (2 Q), carried by what was shaken; the value is the greatest absolute
/// acceleration of the mass, during the shock and after it. The filter takes the acceleration for straight lines
/// between samples (ramp-invariant): ISO 18431-4:2007, and D. O. Smallwood, Shock and Vibration Bulletin 51, 1981
/// (volume and year from memory). MIL-STD-810, method 516, quotes a shock this way with Q = 10. Checked against the
/// closed form of a half-sine and of a sawtooth, tests/reference/numerics2/srs.json.
///
/// The record begins at rest and lies at zero before and after: what it shows at rest (gravity, a bias) is taken off by
/// the caller. Nothing can be said above a tenth of the sample rate, since peaks fall between samples there, or below
/// the inverse of the record's length.
#include <span>
#include <vector>

namespace turnstone::analysis {

inline constexpr double kShockQ = 10;
/// A tenth: ISO 18431-4 and MIL-STD-810 ask for ten samples a period of the highest frequency (from memory).
inline constexpr double kShockSamplesPerPeriod = 10;

/// y[k] = b0 x[k] + b1 x[k-1] + b2 x[k-2] - a1 y[k-1] - a2 y[k-2]
struct ShockFilter {
    double b0, b1, b2, a1, a2;
};

[[nodiscard]] ShockFilter shock_filter(double natural_hz, double rate_hz, double q = kShockQ);

struct ShockResponse {
    double natural_hz;
    double greatest; ///< acceleration, in the unit of the record
    double least;    ///< of the other sign, at most 0

    [[nodiscard]] double maximax() const { return greatest > -least ? greatest : -least; }
};

/// `accel` is evenly sampled and finite.
[[nodiscard]] std::vector<ShockResponse> shock_spectrum(std::span<const double> accel, double rate_hz,
                                                        std::span<const double> natural_hz, double q = kShockQ);

/// Twelve frequencies an octave between what a record of that rate and length can say; none when it is too short.
[[nodiscard]] std::vector<double> shock_frequencies(double rate_hz, double duration_s);

} // namespace turnstone::analysis
