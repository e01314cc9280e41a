#include "server/exchange/import/radio_record.hpp"

#include <algorithm>
#include <memory>
#include <tuple>

#include "protocol/reading/frame_reader.hpp"
#include "server/exchange/import/log/log_index.hpp"
#include "server/pipeline/link/link_framing.hpp"
#include "server/pipeline/link_delay.hpp"
#include "server/pipeline/vehicle/clock_correlation.hpp"
#include "server/pipeline/vehicle/onboard_clock.hpp"
#include "server/pipeline/vehicle/packet_merge.hpp"
#include "shared/time.hpp"

namespace turnstone::exchange {

namespace {

constexpr std::int64_t kMarkEvery_ns = 60 * kNsPerS;
/// As long as the fit looks back: one line holds for it.
constexpr std::int64_t kOneLine_ns = 600 * kNsPerS;

/// Follows the clock from packet to packet and leaves marks of it.
class ClockFollower {
  public:
    ClockFollower(double rollover_ns, RadioRecord& out) : clock_(rollover_ns), out_(out) { out_.boots.emplace_back(); }

    /// The boot the packet is of.
    std::uint32_t packet(std::uint64_t counter_ns, std::int64_t t_rx_ns, std::int64_t t_sent_ns) {
        const ClockReading reading = clock_.read(counter_ns, t_rx_ns);
        switch (reading.verdict) {
        case ClockVerdict::reset:
        case ClockVerdict::jump:
            end_boot();
            if (reading.verdict == ClockVerdict::reset) out_.boots.resize(reading.boot + std::size_t{1});
            correlation_.restart();
            any_ = false;
            [[fallthrough]];
        case ClockVerdict::first:
        case ClockVerdict::advance:
        case ClockVerdict::rollover:
            if (!any_) first_ns_ = marked_ns_ = reading.onboard_ns;
            any_ = true;
            newest_ns_ = reading.onboard_ns;
            correlation_.add(reading.onboard_ns, t_sent_ns);
            if (newest_ns_ - first_ns_ > kOneLine_ns && newest_ns_ - marked_ns_ >= kMarkEvery_ns) mark();
            break;
        case ClockVerdict::repeat:
        case ClockVerdict::late:
        case ClockVerdict::implausible: break;
        }
        return reading.boot;
    }

    void end_boot() {
        if (!any_) return;
        mark();
        BootClock& boot = out_.boots.back();
        boot.bound_s = correlation_.fit().bound_s;
        boot.drift_ppm = correlation_.fit().has_slope ? correlation_.fit().drift_ppm : 0;
        boot.drift_bound_ppm = correlation_.fit().drift_bound_ppm;
    }

  private:
    void mark() {
        correlation_.refit();
        BootClock& boot = out_.boots.back();
        if (boot.empty() || first_ns_ > boot.last_raw_ns())
            boot.add({first_ns_, correlation_.fitted_station_ns(first_ns_)});
        if (newest_ns_ > boot.last_raw_ns()) boot.add({newest_ns_, correlation_.fitted_station_ns(newest_ns_)});
        marked_ns_ = newest_ns_;
    }

    OnboardClock clock_;
    ClockCorrelation correlation_;
    RadioRecord& out_;
    bool any_ = false;
    std::int64_t first_ns_ = 0, newest_ns_ = 0, marked_ns_ = 0; ///< of the boot
};

} // namespace

std::int64_t BootClock::station_ns(std::int64_t raw_ns) const noexcept {
    if (marks_.size() == 1) return marks_.front().station_ns + raw_ns - marks_.front().raw_ns;
    auto right = std::ranges::upper_bound(marks_, raw_ns, {}, &Mark::raw_ns);
    right = std::clamp(right, marks_.begin() + 1, marks_.end() - 1);
    const Mark& a = *(right - 1);
    const double slope =
        static_cast<double>(right->station_ns - a.station_ns) / static_cast<double>(right->raw_ns - a.raw_ns) - 1;
    const std::int64_t away_ns = raw_ns - a.raw_ns;
    return a.station_ns + away_ns + static_cast<std::int64_t>(slope * static_cast<double>(away_ns));
}

Result<RadioRecord> read_radio(RecordingReader& reader, const PipelineSetup& setup, std::size_t vehicle,
                               const debrief::Advance& advance) {
    const Dictionary& dictionary = setup.vehicles[vehicle].dictionary;
    struct Link {
        std::unique_ptr<FrameReader> frames; ///< null: of another vehicle
        LinkDelay delay;
    };
    std::vector<Link> links;
    for (const LinkSetup& link : setup.links)
        links.push_back(
            {link.vehicle == vehicle ? std::make_unique<FrameReader>(link_framing(link.uri), dictionary) : nullptr,
             link_delay(link.uri)});
    RadioRecord out;
    ClockFollower clock(dictionary.clocks.empty() ? 1e18 : dictionary.clocks.front().rollover_ns(), out);
    const double inputs = std::max(static_cast<double>(reader.info().inputs), 1.0);
    bool go_on = true;
    reader.inputs(
        [&](const ChunkRecord& chunk, std::span<const std::byte> bytes) {
            go_on = go_on && advance(static_cast<double>(chunk.input) / inputs);
            if (!go_on || chunk.link >= links.size() || !links[chunk.link].frames) return;
            const Link& link = links[chunk.link];
            link.frames->push(bytes, [&](const Frame& frame, const DecodedPacket* decoded) {
                if (decoded == nullptr || decoded->verdict != DecodeVerdict::good) return;
                out.heard_ns.push_back(chunk.t_rx_ns);
                const auto& time = dictionary.packets[decoded->packet].time;
                if (!time || time->clock != 0 || !decoded->has_time) return;
                const std::uint32_t boot = clock.packet(decoded->onboard_ticks_ns, chunk.t_rx_ns,
                                                        chunk.t_rx_ns - link.delay.of_frame_ns(frame.link_bytes));
                const std::uint64_t id = packet_id(*decoded);
                if (id != 0)
                    out.packets.push_back({id, PacketMerge::content_hash(frame.packet), chunk.t_rx_ns, boot,
                                           decoded->apid, decoded->sequence_count});
            });
        },
        [](const ActionRecord&) {});
    if (!go_on) return debrief::stopped();
    if (!reader.damage().empty()) return fail("the recording is damaged: " + reader.damage());
    clock.end_boot();
    const auto order = [](const RadioPacket& p) { return std::tuple(p.id, p.boot, p.content, p.t_rx_ns); };
    std::ranges::sort(out.packets, {}, order);
    const auto same = [](const RadioPacket& a, const RadioPacket& b) {
        return std::tuple(a.id, a.boot, a.content) == std::tuple(b.id, b.boot, b.content);
    };
    out.packets.erase(std::unique(out.packets.begin(), out.packets.end(), same), out.packets.end());
    return out;
}

std::span<const RadioPacket> RadioRecord::with_id(std::uint64_t id) const {
    const auto first = std::ranges::lower_bound(packets, id, {}, &RadioPacket::id);
    return {first, std::ranges::upper_bound(first, packets.end(), id, {}, &RadioPacket::id)};
}

} // namespace turnstone::exchange
