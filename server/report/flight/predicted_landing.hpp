#pragma once
/// Where a vehicle was said to come down at some moment, in the case that was the likeliest then.
#include <optional>
#include <string>

#include "server/record/by_name/recorded.hpp"

namespace turnstone::report {

struct PredictedLanding {
    double east_m, north_m;
    double semi_major_m, semi_minor_m; ///< of the 95 % ellipse
    double bearing_deg;                ///< of its longer axis
    std::string word;                  ///< of the case

    /// How far out a place is: 1 on the ellipse.
    [[nodiscard]] double reach(double at_east_m, double at_north_m) const;
};

[[nodiscard]] std::optional<PredictedLanding> predicted_landing(const Recorded& recorded, std::size_t vehicle,
                                                                std::int64_t t_ns);

} // namespace turnstone::report
