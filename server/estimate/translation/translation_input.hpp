#pragma once
/// From a receiver's fixes to the translation filter's.
///
/// A receiver that lost its satellites (it says so: a fix without dimensions) comes back with positions tens of metres
/// and velocities several metres a second off, and settles within seconds: its first fixes count less. Silence says
/// nothing of the receiver, and changes nothing. The sizes are common practice with small receivers after hard
/// acceleration, without a published source.
#include <cstdint>
#include <optional>

#include "server/estimate/measurements.hpp"
#include "server/estimate/translation/translation_filter.hpp"
#include "shared/geodesy.hpp"
#include "shared/site.hpp"
#include "shared/vehicle.hpp"

namespace turnstone::estimate {

class TranslationInput {
  public:
    TranslationInput(const SensorNoise& sensors, const Site& site);

    /// Empty when there is no position in it.
    [[nodiscard]] std::optional<TranslationFix> fix(const FixSample& sample);

  private:
    SensorNoise sensors_;
    LocalFrame frame_;
    bool lost_ = false;
    std::int64_t t_found_ns_ = 0; ///< first fix after a loss; 0: there was none
};

} // namespace turnstone::estimate
