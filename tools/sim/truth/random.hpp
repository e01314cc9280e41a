#pragma once
/// Seeded random numbers, the same on every platform: the distributions of <random> are not specified to the bit;
/// std::mt19937_64 is, and the few distributions needed are made from it here.
#include <cmath>
#include <cstdint>
#include <random>
#include <string_view>

#include <Eigen/Core>

namespace turnstone::sim {

/// One independent stream. Each part of the simulator draws from its own (named) stream, so that a change in one part,
/// say one more gyroscope draw, leaves the wind of every seed as it is.
class Random {
  public:
    Random(std::uint64_t seed, std::string_view stream_name) : engine_(mix(seed, stream_name)) {}

    /// Uniform in [0, 1), 53 bits.
    double uniform() { return static_cast<double>(engine_() >> 11U) * 0x1.0p-53; }
    double uniform(double low, double high) { return low + (high - low) * uniform(); }

    /// Standard normal by the polar method (G. Marsaglia, T. A. Bray, SIAM Review 6, 1964).
    double normal() {
        if (has_spare_) {
            has_spare_ = false;
            return spare_;
        }
        for (;;) {
            const double a = 2.0 * uniform() - 1.0;
            const double b = 2.0 * uniform() - 1.0;
            const double s = a * a + b * b;
            if (s > 0.0 && s < 1.0) {
                const double factor = std::sqrt(-2.0 * std::log(s) / s);
                spare_ = b * factor;
                has_spare_ = true;
                return a * factor;
            }
        }
    }
    Eigen::Vector3d normal3() {
        const double x = normal();
        const double y = normal();
        return {x, y, normal()};
    }
    /// Exponential with the given mean.
    double exponential(double mean) { return -mean * std::log(1.0 - uniform()); }
    bool chance(double probability) { return uniform() < probability; }
    std::uint64_t below(std::uint64_t bound) {
        return static_cast<std::uint64_t>(uniform() * static_cast<double>(bound));
    }

  private:
    /// FNV-1a over the name, then the finaliser of SplitMix64, so that neighbouring seeds share nothing.
    static std::uint64_t mix(std::uint64_t seed, std::string_view name) {
        std::uint64_t hash = 0xcbf29ce484222325U;
        for (const char letter : name) hash = (hash ^ static_cast<unsigned char>(letter)) * 0x100000001b3U;
        std::uint64_t z = seed + hash + 0x9e3779b97f4a7c15U;
        z = (z ^ (z >> 30U)) * 0xbf58476d1ce4e5b9U;
        z = (z ^ (z >> 27U)) * 0x94d049bb133111ebU;
        return z ^ (z >> 31U);
    }

    std::mt19937_64 engine_;
    double spare_ = 0.0;
    bool has_spare_ = false;
};

} // namespace turnstone::sim
