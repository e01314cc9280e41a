#pragma once
/// What every format is written from: the recording, its clocks, and how far the work is.
#include <algorithm>
#include <cstdint>
#include <string>

#include "server/debrief/advance.hpp"
#include "server/exchange/table/rows.hpp"
#include "server/record/read/reader.hpp"

namespace turnstone::exchange {

struct Subject {
    RecordingReader& reader;
    RecordingInfo info;
    SetupDescription setup;

    /// UTC as the station had it, carried on from the start by its steady clock.
    [[nodiscard]] std::int64_t utc_ns(std::int64_t t_ns) const noexcept {
        return t_ns - info.t_start_ns + info.utc_start_ns;
    }
};

/// Tells how far it is through `span`, every so many rows.
class Steps {
  public:
    Steps(const debrief::Advance& advance, Span span) : advance_(advance), span_(span) {}
    /// Of several passes through the span, or of one table after the other.
    void begin_part(std::size_t part, std::size_t parts) noexcept {
        part_ = static_cast<double>(part);
        parts_ = static_cast<double>(std::max<std::size_t>(parts, 1));
    }
    /// False: stop.
    [[nodiscard]] bool go_on(std::int64_t t_ns) {
        if (++rows_ % kRows != 0) return true;
        const double length_s = std::max(static_cast<double>(span_.to_ns - span_.from_ns), 1.0);
        const double done = std::clamp(static_cast<double>(t_ns - span_.from_ns) / length_s, 0.0, 1.0);
        return advance_((part_ + done) / parts_);
    }

  private:
    static constexpr std::uint64_t kRows = 128;
    const debrief::Advance& advance_;
    Span span_;
    double part_ = 0, parts_ = 1;
    std::uint64_t rows_ = 0;
};

} // namespace turnstone::exchange
