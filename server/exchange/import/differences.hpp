#pragma once
/// Where the log and what the radio brought differ.
#include <cstdint>
#include <string>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "server/debrief/advance.hpp"
#include "server/exchange/import/log/log_index.hpp"
#include "server/exchange/import/log/log_times.hpp"
#include "server/exchange/import/radio_record.hpp"
#include "server/record/read/reader.hpp"
#include "shared/result.hpp"

namespace turnstone::exchange {

/// The radio brought nothing, and the log has packets.
struct Gap {
    std::int64_t from_ns, to_ns; ///< the last and the next good packet of the radio; or the log's end
    std::size_t packets;         ///< of the log, in between
};

struct PacketDifference {
    std::int64_t t_ns;
    std::int32_t apid;
    std::uint16_t sequence_count;
};

struct PacketComparison {
    std::size_t both = 0, radio_only = 0, log_only = 0;
    std::size_t differing = 0;           ///< same kind, count and time, other content
    std::vector<PacketDifference> first; ///< of the differing ones, at most a hundred
};

/// Shorter silences are what any radio has between its packets.
inline constexpr std::int64_t kGapLeast_ns = 500'000'000;

[[nodiscard]] std::vector<Gap> find_gaps(const std::vector<std::int64_t>& log_ns,
                                         const std::vector<std::int64_t>& heard_ns);
/// Of packets whose sender counts them; without those, nothing.
[[nodiscard]] PacketComparison compare_packets(const LogIndex& log, const LogTimes& times, const RadioRecord& radio);

/// A channel of the radio's and the log's column for it.
struct ChannelPair {
    std::string radio_table, radio_column, log_table, log_column;
};
/// Log less radio, at the times of the radio's rows between two of the log's.
struct ChannelDifference {
    ChannelPair of;
    std::string title, unit;
    std::size_t count = 0;
    double mean = 0, sd = 0;
    double worst = 0; ///< the greatest, with its sign
    std::int64_t worst_ns = 0;
};
[[nodiscard]] Result<std::vector<ChannelDifference>>
compare_channels(RecordingReader& merged, const std::vector<ChannelPair>& pairs, const debrief::Advance& advance);

/// For people and programs: {"packets", "gaps", "channels"}; times in seconds since `t_start_ns`.
[[nodiscard]] nlohmann::json differences_json(const PacketComparison& packets, const std::vector<Gap>& gaps,
                                              const std::vector<ChannelDifference>& channels, std::int64_t t_start_ns);

} // namespace turnstone::exchange
