#pragma once
/// Coming down: when it touches down.
///
/// Heights are steady and nothing shakes: dated to the last shock before, or to where the descent meets the ground. By
/// forces alone: an impact and then a long rest, tipped over.
#include "server/estimate/phases/watch.hpp"

namespace turnstone::estimate {

class TouchdownWatch {
  public:
    /// After each height, and with each tick while the barometer is silent.
    [[nodiscard]] MaybeFound rest(const Sight& sight);
};

} // namespace turnstone::estimate
