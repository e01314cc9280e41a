#pragma once
/// What the radio brought of a vehicle in a recording: its packets, to find those of the log among them, and how its
/// clock ran against the station's.
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "server/debrief/advance.hpp"
#include "server/pipeline/setup.hpp"
#include "server/record/read/reader.hpp"
#include "shared/result.hpp"

namespace turnstone::exchange {

struct RadioPacket {
    std::uint64_t id, content; ///< as LogPacket has them
    std::int64_t t_rx_ns;
    std::uint32_t boot;
    std::int32_t apid;
    std::uint16_t sequence_count;
};

/// The vehicle's clock of one boot on the station's: straight lines between the fits of clock_correlation.hpp, beyond
/// them on.
class BootClock {
  public:
    struct Mark {
        std::int64_t raw_ns, station_ns;
    };
    void add(Mark mark) { marks_.push_back(mark); }
    [[nodiscard]] bool empty() const noexcept { return marks_.empty(); }
    [[nodiscard]] std::int64_t station_ns(std::int64_t raw_ns) const noexcept;
    [[nodiscard]] std::int64_t first_raw_ns() const noexcept { return marks_.front().raw_ns; }
    [[nodiscard]] std::int64_t last_raw_ns() const noexcept { return marks_.back().raw_ns; }

    double bound_s = 0;         ///< about 95 %, of mapped times, the link's least delay left out
    double drift_ppm = 0;       ///< the vehicle's clock is fast by it
    double drift_bound_ppm = 0; ///< NaN: too short to know

  private:
    std::vector<Mark> marks_;
};

struct RadioRecord {
    std::vector<RadioPacket> packets;   ///< by id, the first that came of each boot; those with a count and a time
    std::vector<std::int64_t> heard_ns; ///< when a good packet came, in order
    std::vector<BootClock> boots;

    /// Those of one id.
    [[nodiscard]] std::span<const RadioPacket> with_id(std::uint64_t id) const;
};

/// Of all links that carry the vehicle; times by the first of its clocks.
[[nodiscard]] Result<RadioRecord> read_radio(RecordingReader& reader, const PipelineSetup& setup, std::size_t vehicle,
                                             const debrief::Advance& advance);

} // namespace turnstone::exchange
