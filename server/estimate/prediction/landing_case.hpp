#pragma once
/// The cases a landing is predicted for, and what is predicted of each. A vehicle with one parachute has no case that
/// speaks of a second; one without any lands nominally.
#include <array>
#include <cstddef>
#include <string_view>

#include <Eigen/Core>

#include "shared/words.hpp"

namespace turnstone::estimate {

enum class LandingCaseKind : unsigned char {
    nominal,
    late_opening,   ///< the first parachute opens seconds late
    drogue_fails,   ///< the first stays shut, the second opens
    main_fails,     ///< the second stays shut
    main_at_apogee, ///< the second comes out with the first
    no_parachute    ///< all stay shut
};

/// A case's word for people, and the stem of its columns: "no_parachute_east_m".
struct LandingCaseWords {
    LandingCaseKind value;
    std::string_view word;
    std::string_view stem;
};
inline constexpr LandingCaseWords kLandingCases[] = {
    {LandingCaseKind::nominal, "nominal", "nominal"},
    {LandingCaseKind::late_opening, "drogue late", "late_opening"},
    {LandingCaseKind::drogue_fails, "drogue fails", "drogue_fails"},
    {LandingCaseKind::main_fails, "main fails", "main_fails"},
    {LandingCaseKind::main_at_apogee, "main at apogee", "main_at_apogee"},
    {LandingCaseKind::no_parachute, "no parachute (ballistic)", "no_parachute"},
};
consteval auto words_of(LandingCaseKind) {
    return words_in<LandingCaseKind::no_parachute>(kLandingCases);
}

/// One value for each case.
template <class Value>
class ByLandingCase {
  public:
    [[nodiscard]] Value& operator[](LandingCaseKind kind) { return values_[static_cast<std::size_t>(kind)]; }
    [[nodiscard]] const Value& operator[](LandingCaseKind kind) const {
        return values_[static_cast<std::size_t>(kind)];
    }

  private:
    std::array<Value, kWords<LandingCaseKind>.size()> values_{};
};

/// Where and when a vehicle lands in one case.
struct LandingCase {
    double probability; ///< of the case, by what has been seen
    Eigen::Vector2d mean_m;
    Eigen::Matrix2d covariance_m2;
    double outside; ///< fraction of the case's landings outside the boundary; NaN without one
    double time_s;  ///< mean, from the start of the round
};

} // namespace turnstone::estimate
