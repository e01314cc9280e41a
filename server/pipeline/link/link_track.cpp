#include "server/pipeline/link/link_track.hpp"

#include <algorithm>
#include <array>

#include <nlohmann/json.hpp>

#include "shared/time.hpp"

namespace turnstone {

namespace {

std::vector<double> periods_s(const Dictionary& dictionary) {
    std::vector<double> periods;
    for (const Packet& packet : dictionary.packets) periods.push_back(packet.period_ms / 1e3);
    return periods;
}

/// The states of a link and what they mean to the person at the range.
struct LinkStateWord {
    std::string_view name;
    std::string_view sentence;
    bool down;  ///< no data can be expected: an alert
    bool clear; ///< ends that alert
};
constexpr std::array<LinkStateWord, 6> kLinkStates{{
    {"opening", "is being opened", false, false},
    {"open", "is open", false, true},
    {"silent", "is open but silent", true, false},
    {"lost", "was lost and is being retried", true, false},
    {"refused", "could not be opened and is being retried", true, false},
    {"ended", "came to its end", false, true},
}};

FrameFault fault_of(FrameVerdict verdict) noexcept {
    switch (verdict) {
    case FrameVerdict::bad_crc: return FrameFault::checksum;
    case FrameVerdict::bad_length: return FrameFault::length;
    case FrameVerdict::too_long: return FrameFault::too_long;
    case FrameVerdict::good: // never asked for
    case FrameVerdict::bad_cobs: break;
    }
    return FrameFault::stuffing;
}

} // namespace

LinkTrack::LinkTrack(const LinkSetup& setup, LinkId id, const LinkTables& tables, const Dictionary& dictionary)
    : setup_(&setup), id_(id), tables_(tables), quality_(periods_s(dictionary)) {}

void LinkTrack::bytes(std::int64_t t_rx_ns, std::span<const std::byte> bytes, VehicleTrack& vehicle, Batch& out) {
    quality_.bytes(bytes.size());
    deframer_.push(bytes, [&](const Frame& frame) {
        FrameRecord record{id_,
                           t_rx_ns,
                           frame.stream_offset,
                           frame.link_octets,
                           frame.verdict,
                           DecodeVerdict::good,
                           PacketVerdict::bad_frame,
                           -1,
                           -1,
                           -1,
                           0};
        if (frame.verdict == FrameVerdict::good) {
            vehicle.packet(frame.packet, record, quality_, out);
        } else {
            quality_.bad_frame(fault_of(frame.verdict));
            out.frames.push_back(record);
        }
    });
}

bool LinkTrack::state(std::int64_t t_ns, std::string_view state, const std::string& detail, Batch& out) {
    const auto word = std::find_if(kLinkStates.begin(), kLinkStates.end(),
                                   [state](const LinkStateWord& known) { return known.name == state; });
    if (word == kLinkStates.end()) return false;
    const std::string prefix = "link/" + setup_->name;
    const std::string text =
        "Link " + setup_->name + " " + std::string(word->sentence) + (detail.empty() ? "" : ": " + detail) + ".";
    const int vehicle = static_cast<int>(setup_->vehicle);
    const std::string data = nlohmann::json{{"link", setup_->name}, {"state", state}, {"detail", detail}}.dump(
        -1, ' ', false, nlohmann::json::error_handler_t::replace);
    out.events.push_back({t_ns, t_ns, 0, EventKind::link_state, Level::note, vehicle, prefix + "/state", text, data});
    if (word->down && !down_)
        out.events.push_back(
            {t_ns, t_ns, 0, EventKind::alert_raised, Level::caution, vehicle, prefix + "/down", text, data});
    if (word->clear && down_)
        out.events.push_back(
            {t_ns, t_ns, 0, EventKind::alert_cleared, Level::caution, vehicle, prefix + "/down", text, data});
    down_ = word->down || (down_ && !word->clear);
    return true;
}

namespace {

template <class ColumnName, std::size_t n>
void set(std::array<double, n>& values, ColumnName column, double value) noexcept {
    values[static_cast<std::size_t>(column)] = value;
}

template <class ColumnName, std::size_t n>
void set(std::array<double, n>& values, ColumnName column, std::uint64_t value) noexcept {
    values[static_cast<std::size_t>(column)] = static_cast<double>(value);
}

/// The columns that links and kinds of packets share.
template <class ColumnName, std::size_t n>
void set_packet_columns(std::array<double, n>& values, const QualityCounts& counts,
                        const QualityWindows& windows) noexcept {
    set(values, ColumnName::received, counts.received);
    set(values, ColumnName::lost, static_cast<double>(counts.lost));
    set(values, ColumnName::copies, counts.copies);
    set(values, ColumnName::late, counts.late);
    set(values, ColumnName::out_of_order, counts.out_of_order);
    set(values, ColumnName::restarts, counts.restarts);
    for (std::size_t w = 0; w < kQualityWindowTicks.size(); ++w) {
        const double window_s = static_cast<double>(kQualityWindowTicks[w]) * seconds_between(0, kTickNs);
        values[static_cast<std::size_t>(ColumnName::rate_1s) + w] =
            static_cast<double>(windows.sums(w).fresh) / window_s;
        values[static_cast<std::size_t>(ColumnName::loss_1s) + w] = windows.loss(w);
    }
}

} // namespace

void LinkTrack::tick(std::int64_t t_ns, Batch& out) {
    quality_.tick();
    std::array<double, static_cast<std::size_t>(LinkColumn::count_)> totals;
    const DeframerCounts& frames = deframer_.counts();
    set(totals, LinkColumn::bytes, quality_.bytes_in());
    set(totals, LinkColumn::frames_good, frames.frames_good);
    set(totals, LinkColumn::frames_bad, frames.frames_bad);
    set(totals, LinkColumn::bad_stuffing, quality_.faults(FrameFault::stuffing));
    set(totals, LinkColumn::bad_checksum, quality_.faults(FrameFault::checksum));
    set(totals, LinkColumn::bad_length, quality_.faults(FrameFault::length));
    set(totals, LinkColumn::too_long, quality_.faults(FrameFault::too_long));
    set(totals, LinkColumn::dropped_bytes, frames.bytes_dropped);
    set(totals, LinkColumn::undecodable, quality_.undecodable_count());
    set(totals, LinkColumn::idle, quality_.idle());
    set(totals, LinkColumn::age_s, quality_.age_s(t_ns));
    set_packet_columns<LinkColumn>(totals, quality_.counts(), quality_.windows());
    for (std::size_t w = 0; w < kQualityWindowTicks.size(); ++w)
        totals[static_cast<std::size_t>(LinkColumn::byte_rate_1s) + w] =
            static_cast<double>(quality_.windows().sums(w).bytes) /
            (static_cast<double>(kQualityWindowTicks[w]) * seconds_between(0, kTickNs));
    append_row(out, tables_.totals, t_ns, t_ns, totals);

    if (t_ns % kLinkPacketPeriodNs != 0) return;
    TableId table = tables_.packets;
    for (const PacketQuality& packet : quality_.packets()) {
        std::array<double, static_cast<std::size_t>(LinkPacketColumn::count_)> values;
        set_packet_columns<LinkPacketColumn>(values, packet.counts(), packet.windows());
        set(values, LinkPacketColumn::age_s, packet.age_s(t_ns));
        append_row(out, table++, t_ns, t_ns, values);
    }
}

} // namespace turnstone
