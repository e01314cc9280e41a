#pragma once
/// Which flights the sets of whole flights take.
#include <algorithm>
#include <cstdint>
#include <cstdlib>

namespace turnstone {

/// TURNSTONE_FLIGHTS, or so many.
inline int flights_or(int few) {
    const char* wish = std::getenv("TURNSTONE_FLIGHTS");
    return wish != nullptr ? std::max(1, std::atoi(wish)) : few;
}

/// TURNSTONE_SEED, or that of the seeds nothing was tuned on; below 1000 for tuning.
inline std::uint64_t first_seed() {
    const char* wish = std::getenv("TURNSTONE_SEED");
    return wish != nullptr ? std::strtoull(wish, nullptr, 10) : 5000;
}

} // namespace turnstone
