#pragma once
/// The one countdown of a station. Operators run it, hold it, let it go on, take it off; everybody sees the same. At a
/// liftoff it says how far from T-0 that was. It commands nothing.
#include <cstdint>
#include <optional>
#include <string>

#include "server/pipeline/action.hpp"
#include "server/pipeline/batch.hpp"

namespace turnstone {

class CountdownClock {
  public:
    /// A hold of what is held already says why; without a reason it does nothing.
    void take(const Countdown& step, std::int64_t t_ns, Batch& out);
    /// What was appended to `batch` since `from`.
    void see(Batch& batch, Marks from);
    /// What the next recording must know; empty: there is no countdown.
    [[nodiscard]] std::optional<Countdown> carried() const;

  private:
    void say(std::int64_t t_ns, Batch& out) const;

    // At most one of the two.
    std::optional<std::int64_t> zero_ns_; ///< running to this
    std::optional<double> held_s_;        ///< held with so much left
    std::string why_held_;                ///< empty: not said, or not held
};

} // namespace turnstone
