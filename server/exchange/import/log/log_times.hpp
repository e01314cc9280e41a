#pragma once
/// When, on the station's clock, the packets of a log were made: as if a link had brought them at that moment.
#include <cstdint>
#include <string>
#include <vector>

#include "server/exchange/import/log/log_index.hpp"
#include "server/exchange/import/radio_record.hpp"
#include "shared/result.hpp"
#include "shared/words.hpp"

namespace turnstone::exchange {

enum class AlignBy : unsigned char { onboard_time, acceleration, pressure };
consteval auto words_of(AlignBy) {
    return words<AlignBy::pressure>("onboard_time", "acceleration", "pressure");
}

struct LogTimes {
    AlignBy method = AlignBy::onboard_time;
    std::vector<std::int64_t> t_ns = {}; ///< of each packet of the log, never going back
    double zero_s = 0;              ///< when the log's clock of its first boot read zero, since the recording's start
    double sigma_s = 0;             ///< 1-sigma of the log's times against the radio's
    double drift_ppm = 0;           ///< the log's clock is fast by it
    double correlation = 0;         ///< of the two records; of `onboard_time` 0
    std::uint32_t boots_placed = 0; ///< of the log, that were found in the radio's record
};

/// By the clock in the packets, which the radio's carried too. Boots of which the radio heard nothing lie between their
/// neighbours, as long after them as their computer was on; how long it was off is not known.
[[nodiscard]] Result<LogTimes> times_by_clock(const LogIndex& log, const RadioRecord& radio, std::int64_t t_start_ns);

/// By LogIndex::signals against the same quantity as the radio brought it, boot by boot; those that nothing in the
/// signal places lie between their neighbours, as above. `t_s` of `heard`: since the start.
[[nodiscard]] Result<LogTimes> times_by_signal(const LogIndex& log, const Signal& heard, AlignBy method,
                                               std::int64_t t_start_ns);

} // namespace turnstone::exchange
