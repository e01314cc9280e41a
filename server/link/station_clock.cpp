#include <chrono>

#include "server/link/link.hpp"

namespace turnstone {

namespace {

template <class Clock>
std::int64_t clock_ns() noexcept {
    return std::chrono::duration_cast<std::chrono::nanoseconds>(Clock::now().time_since_epoch()).count();
}

} // namespace

std::int64_t utc_now_ns() noexcept {
    return clock_ns<std::chrono::system_clock>();
}

std::int64_t station_now_ns() noexcept {
    static const std::int64_t utc_minus_steady_ns = utc_now_ns() - clock_ns<std::chrono::steady_clock>();
    return utc_minus_steady_ns + clock_ns<std::chrono::steady_clock>();
}

} // namespace turnstone
