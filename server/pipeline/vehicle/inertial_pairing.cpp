#include "server/pipeline/vehicle/inertial_pairing.hpp"

#include <algorithm>

#include "shared/time.hpp"

namespace turnstone {

using Eigen::Vector3d;

void InertialPairing::Ring::push(const Value& value) noexcept {
    if (value.t_ns <= t_newest_ns || !value.value.allFinite()) return;
    t_newest_ns = value.t_ns;
    if (count == kCapacity) pop();
    items[(first + count++) % kCapacity] = value;
}

void InertialPairing::Ring::pop() noexcept {
    first = (first + 1) % kCapacity;
    --count;
}

void InertialPairing::acceleration(std::int64_t t_ns, const Vector3d& accel_body_mps2) {
    accelerations_.push({t_ns, accel_body_mps2});
}

void InertialPairing::rate(std::int64_t t_ns, const Vector3d& rate_body_radps) {
    rates_.push({t_ns, rate_body_radps});
}

bool InertialPairing::next(ImuSample& out) {
    if (accelerations_.count == 0) return false;
    const Value& accel = accelerations_[0];
    const std::int64_t newest_ns = std::max(accelerations_.t_newest_ns, rates_.t_newest_ns);
    const bool reached = rates_.t_newest_ns >= accel.t_ns;
    if (!reached && seconds_between(accel.t_ns, newest_ns) < kWait_s && accelerations_.count < kCapacity) return false;
    out = {accel.t_ns, accel.value, Vector3d::Constant(kNaN)};
    // One rate before the acceleration's interval is kept, to find the value between two.
    while (rates_.count > 1 && rates_[1].t_ns <= t_taken_ns_) rates_.pop();
    if (reached) {
        Vector3d sum = Vector3d::Zero();
        int inside = 0;
        std::size_t after = 0;
        for (; after < rates_.count && rates_[after].t_ns <= accel.t_ns; ++after) {
            if (rates_[after].t_ns <= t_taken_ns_) continue;
            sum += rates_[after].value;
            ++inside;
        }
        if (inside > 0) {
            out.rate_body_radps = sum / inside;
        } else if (after > 0 && after < rates_.count) {
            const Value &a = rates_[after - 1], &b = rates_[after];
            const double apart_s = seconds_between(a.t_ns, b.t_ns);
            const double part = seconds_between(a.t_ns, accel.t_ns) / apart_s;
            if (apart_s < kWait_s) out.rate_body_radps = a.value + part * (b.value - a.value);
        }
    }
    t_taken_ns_ = accel.t_ns;
    accelerations_.pop();
    return true;
}

} // namespace turnstone
