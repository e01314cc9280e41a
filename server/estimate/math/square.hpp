#pragma once

namespace turnstone::estimate {

[[nodiscard]] constexpr double square(double x) noexcept {
    return x * x;
}

} // namespace turnstone::estimate
