#pragma once
#include <cstdint>

namespace turnstone {

/// How far a pipeline has come: everything that follows from the first `inputs` inputs, and the ticks up to `t_ns`.
struct Progress {
    std::uint64_t inputs = 0;
    std::int64_t t_ns = 0;
    friend bool operator==(const Progress&, const Progress&) = default;
};

} // namespace turnstone
