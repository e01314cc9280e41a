#pragma once
/// Times as a report says them: the time of day, and T+ from liftoff on.
#include <cstdint>
#include <optional>
#include <string>

#include "server/record/by_name/recorded.hpp"

namespace turnstone::report {

class ReportClock {
  public:
    ReportClock(const Recorded& recorded, std::optional<std::int64_t> liftoff_ns)
        : recorded_(recorded), liftoff_ns_(liftoff_ns) {}

    /// "13:40:12" before liftoff and without one, "T+0:14.9" after it.
    [[nodiscard]] std::string text(std::int64_t t_ns) const;
    [[nodiscard]] std::string utc(std::int64_t t_ns) const;
    /// What the column of such times is headed with.
    [[nodiscard]] std::string title() const { return liftoff_ns_ ? "UTC, T+" : "UTC"; }

  private:
    const Recorded& recorded_;
    std::optional<std::int64_t> liftoff_ns_;
};

} // namespace turnstone::report
