#pragma once
/// Station time as tests of estimators count it: seconds after a start that is not zero.
#include <cstdint>

#include "shared/time.hpp"

namespace turnstone::test {

inline constexpr std::int64_t kStart_ns = 1'000'000'000'000;

inline std::int64_t at(double t_s) {
    return kStart_ns + seconds_to_ns(t_s);
}

} // namespace turnstone::test
