#pragma once
/// The clock of another station against this one's, by the packets that both received.
#include <cstddef>
#include <cstdint>

#include "server/exchange/import/radio_record.hpp"
#include "shared/result.hpp"
#include "shared/words.hpp"

namespace turnstone::exchange {

enum class StationsBy : unsigned char { packets, utc };
consteval auto words_of(StationsBy) {
    return words<StationsBy::utc>("packets", "utc");
}

/// Station time here of a time there. What a packet takes longer by one station's radio than by the other's is in the
/// offset: signals that go one way cannot tell the two apart.
struct StationTimes {
    StationsBy by = StationsBy::utc;
    std::int64_t there_ns = 0, here_ns = 0; ///< one moment
    double drift_ppm = 0;                   ///< of their clock, positive when it runs fast; 0: too short to tell
    double sigma_s = 0;                     ///< of a mapped time; by UTC: NaN, nobody knows how well both were set
    std::size_t packets = 0;                ///< that both received

    [[nodiscard]] std::int64_t station_ns(std::int64_t other_ns) const noexcept;
    /// What their clock gains while it runs for so long.
    [[nodiscard]] std::int64_t drifted_ns(std::int64_t away_ns) const noexcept;
};

/// By the median difference of receive times, and by how it changes from the first third to the last where that is two
/// minutes long. Fewer than ten common packets: by `utc_offset_ns`, their station time minus ours at the same UTC.
[[nodiscard]] StationTimes times_by_packets(const RadioRecord& here, const RadioRecord& there,
                                            std::int64_t utc_offset_ns);

} // namespace turnstone::exchange
