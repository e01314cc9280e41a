#pragma once
/// The cases a landing is predicted for, and what is predicted of each.
#include <array>
#include <cstddef>
#include <string_view>

#include <Eigen/Core>

#include "shared/words.hpp"

namespace turnstone::estimate {

enum class LandingCaseKind : unsigned char {
    nominal,      ///< a parachute whose time has passed without its opening counts as shut
    drogue_fails, ///< the first parachute stays shut
    no_parachute  ///< all stay shut
};

/// A case's word for people, and the stem of its columns: "no_parachute_east_m".
struct LandingCaseWords {
    LandingCaseKind value;
    std::string_view word;
    std::string_view stem;
};
inline constexpr LandingCaseWords kLandingCases[] = {
    {LandingCaseKind::nominal, "nominal", "nominal"},
    {LandingCaseKind::drogue_fails, "drogue fails", "drogue_fails"},
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
    Eigen::Vector2d mean_m;
    Eigen::Matrix2d covariance_m2;
    double outside; ///< fraction outside the boundary; NaN without one
    double time_s;  ///< mean, from the start of the round
};

} // namespace turnstone::estimate
