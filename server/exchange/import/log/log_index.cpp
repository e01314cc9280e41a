#include "server/exchange/import/log/log_index.hpp"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <fstream>
#include <functional>
#include <limits>
#include <system_error>

#include "protocol/reading/frame_reader.hpp"
#include "server/pipeline/vehicle/packet_merge.hpp"
#include "shared/time.hpp"

namespace turnstone::exchange {

namespace {

constexpr std::size_t kReadBytes = 1U << 20U;
/// Packets of one moment differ by what they waited for each other.
constexpr std::int64_t kSmallStep_ns = 5 * kNsPerS;

std::int64_t signed_step(std::int64_t from_ns, std::int64_t to_ns, std::int64_t rollover_ns) noexcept {
    const std::int64_t step_ns = to_ns - from_ns;
    if (step_ns > rollover_ns / 2) return step_ns - rollover_ns;
    return step_ns < -(rollover_ns / 2) ? step_ns + rollover_ns : step_ns;
}

/// From counters as they were read to times since each boot. A step back is a restart, and a long one forward a gap, if
/// the next packet agrees; a packet that is alone with its time has none that can be.
void follow_clock(LogIndex& log, std::int64_t rollover_ns) {
    const auto next_counter = [&](std::size_t i) -> std::optional<std::int64_t> {
        for (++i; i < log.packets.size(); ++i)
            if (log.packets[i].raw_ns >= 0) return log.packets[i].raw_ns;
        return std::nullopt;
    };
    std::optional<std::int64_t> counter_ns;
    std::int64_t onboard_ns = 0;
    for (std::size_t i = 0; i < log.packets.size(); ++i) {
        LogPacket& packet = log.packets[i];
        packet.boot = log.restarts;
        if (packet.raw_ns < 0) continue;
        if (!counter_ns) onboard_ns = packet.raw_ns;
        const std::int64_t step_ns = counter_ns ? signed_step(*counter_ns, packet.raw_ns, rollover_ns) : 0;
        if (std::abs(step_ns) > kSmallStep_ns) {
            const auto next_ns = next_counter(i);
            if (next_ns && std::abs(signed_step(packet.raw_ns, *next_ns, rollover_ns)) > kSmallStep_ns) {
                packet.raw_ns = -1;
                continue;
            }
            if (step_ns < 0) {
                packet.boot = ++log.restarts;
                onboard_ns = packet.raw_ns;
                counter_ns = packet.raw_ns;
                continue;
            }
        }
        onboard_ns += step_ns;
        counter_ns = packet.raw_ns;
        packet.raw_ns = onboard_ns;
    }
}

/// A value of the channel asked for, and the packet that it came in.
struct LogValue {
    std::size_t packet;
    double offset_s, value;
};

void add_values(const DecodedPacket& packet, std::size_t index, const ChannelPlace& of, const Dictionary& dictionary,
                std::vector<LogValue>& out) {
    const auto table = static_cast<std::size_t>(of.table - dictionary.tables.data());
    for (const DecodedRow& row : packet.rows) {
        if (row.table != table || !std::isfinite(row.numbers[of.channel->place])) continue;
        out.push_back({index, row.time_offset_ms * 1e-3, row.numbers[of.channel->place]});
    }
}

/// Once the clock was followed.
void sort_by_boot(const std::vector<LogValue>& values, LogIndex& log) {
    log.signals.resize(log.restarts + std::size_t{1});
    for (const LogValue& each : values) {
        const LogPacket& packet = log.packets[each.packet];
        Signal& signal = log.signals[packet.boot];
        const double t_s = static_cast<double>(packet.raw_ns) * 1e-9 + each.offset_s;
        if (packet.raw_ns < 0 || (!signal.t_s.empty() && t_s <= signal.t_s.back())) continue; // one after the other
        signal.t_s.push_back(t_s);
        signal.value.push_back(each.value);
    }
}

} // namespace

std::uint64_t packet_id(const DecodedPacket& packet) noexcept {
    if (!packet.is_counted) return 0;
    std::uint64_t id = (std::uint64_t{packet.apid} << 14U | packet.sequence_count) + 1;
    id = (id ^ packet.onboard_ticks_ns) * 0x9E3779B97F4A7C15U;
    id ^= id >> 29U;
    return id == 0 ? 1 : id;
}

Result<void> read_pieces(const std::filesystem::path& path,
                         const std::function<bool(std::span<const std::byte>)>& on_bytes) {
    std::ifstream file(path, std::ios::binary);
    std::error_code error;
    if (!file || !std::filesystem::is_regular_file(path, error))
        return fail(path.string() + ": cannot be read; give the log's file");
    std::vector<std::byte> piece(kReadBytes);
    while (file) {
        file.read(reinterpret_cast<char*>(piece.data()), static_cast<std::streamsize>(piece.size())); // NOLINT
        if (file.bad()) return fail(path.string() + ": cannot be read any further");
        if (file.gcount() > 0 && !on_bytes(std::span(piece).first(static_cast<std::size_t>(file.gcount()))))
            return debrief::stopped();
    }
    return {};
}

Result<LogIndex> read_log(const std::filesystem::path& path, const Framing& framing, const Dictionary& dictionary,
                          std::size_t clock, std::optional<ChannelPlace> signal, const debrief::Advance& advance) {
    LogIndex log;
    std::vector<LogValue> values;
    FrameReader reader(framing, dictionary);
    std::error_code ignored; // the reading says it
    const double file_bytes = std::max(static_cast<double>(std::filesystem::file_size(path, ignored)), 1.0);
    const auto on_frame = [&](const Frame& frame, const DecodedPacket* decoded) {
        if (decoded == nullptr) {
            ++log.bad_frames;
            return;
        }
        if (decoded->verdict != DecodeVerdict::good) {
            log.undecodable += decoded->verdict == DecodeVerdict::idle || decoded->verdict == DecodeVerdict::unused ||
                                       decoded->verdict == DecodeVerdict::part
                                   ? 0
                                   : 1;
            return;
        }
        const auto& time = dictionary.packets[decoded->packet].time;
        const bool has_time = time && time->clock == clock && decoded->has_time &&
                              decoded->onboard_ticks_ns <= std::numeric_limits<std::int64_t>::max() / 4;
        log.packets.push_back({frame.stream_offset + frame.link_bytes, packet_id(*decoded),
                               PacketMerge::content_hash(frame.packet),
                               has_time ? static_cast<std::int64_t>(decoded->onboard_ticks_ns) : -1, 0});
        if (signal && has_time) add_values(*decoded, log.packets.size() - 1, *signal, dictionary, values);
    };
    const auto read = read_pieces(path, [&](std::span<const std::byte> bytes) {
        reader.push(bytes, on_frame);
        log.bytes += bytes.size();
        return advance(static_cast<double>(log.bytes) / file_bytes);
    });
    if (!read) return tl::unexpected(read.error());
    const double rollover_ns = clock < dictionary.clocks.size() ? dictionary.clocks[clock].rollover_ns() : 1e18;
    follow_clock(log, rollover_ns < 4e18 ? static_cast<std::int64_t>(rollover_ns)
                                         : std::numeric_limits<std::int64_t>::max() / 2);
    sort_by_boot(values, log);
    return log;
}

} // namespace turnstone::exchange
