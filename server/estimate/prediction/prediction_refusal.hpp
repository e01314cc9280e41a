#pragma once
/// Why no prediction starts from a state that is known.
#include "shared/words.hpp"

namespace turnstone::estimate {

enum class PredictionRefusal : unsigned char {
    none,
    state_unknown, ///< its sigmas say as much
    too_high,      ///< beyond the table of the day's air
    too_far,
    too_fast
};
consteval auto words_of(PredictionRefusal) {
    return words<PredictionRefusal::too_fast>("none", "state_unknown", "too_high", "too_far", "too_fast");
}

} // namespace turnstone::estimate
