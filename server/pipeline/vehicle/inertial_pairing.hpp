#pragma once
/// Makes inertial samples of accelerations and turn rates that come in packets of their own.
///
/// Each sample is a mean over the interval that ends at its time. An acceleration waits until turn rates reach its
/// time, and gets their mean over its own interval or, when none ended in it, the value between the two around it. One
/// for which none come within kWait_s goes on without: vertical motion needs no turn rate. Rates without an
/// acceleration are not handed on. Samples of one sensor that are not newer than its newest are dropped. Fixed memory.
#include <array>
#include <cstddef>
#include <cstdint>

#include <Eigen/Core>

#include "server/estimate/measurements.hpp"

namespace turnstone {

class InertialPairing {
  public:
    static constexpr double kWait_s = 0.3;

    void acceleration(std::int64_t t_ns, const Eigen::Vector3d& accel_body_mps2);
    void rate(std::int64_t t_ns, const Eigen::Vector3d& rate_body_radps);

    /// Calls `take(sample)` for each that is complete or has waited long enough, in order.
    template <class Take>
    void drain(Take&& take) {
        ImuSample sample;
        while (next(sample)) take(sample);
    }

  private:
    /// Half a second at 500 samples a second: longer than one packet waits for the next.
    static constexpr std::size_t kCapacity = 256;
    struct Value {
        std::int64_t t_ns = 0;
        Eigen::Vector3d value = Eigen::Vector3d::Zero();
    };
    struct Ring {
        std::array<Value, kCapacity> items;
        std::size_t first = 0, count = 0;
        std::int64_t t_newest_ns = 0;
        void push(const Value& value) noexcept;
        void pop() noexcept;
        [[nodiscard]] const Value& operator[](std::size_t i) const noexcept { return items[(first + i) % kCapacity]; }
    };
    [[nodiscard]] bool next(ImuSample& out);

    Ring accelerations_, rates_;
    std::int64_t t_taken_ns_ = 0; ///< of the acceleration handed on last
};

} // namespace turnstone
