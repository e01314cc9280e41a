#include "server/pipeline/link/link_track.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <utility>

#include "server/pipeline/events.hpp"
#include "server/pipeline/link/link_framing.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

constexpr const char* kGroup = "Link";
/// Between rows: people read counters and rates, and no faster.
constexpr std::int64_t kRowPeriodNs = kNsPerS;
constexpr std::int64_t kDiagnosisPeriodNs = kNsPerS / 2;

/// Of the sequence count of each packet's APID, which the layouts of one APID share; 0: some come now and then.
std::vector<double> periods_s(const Dictionary& dictionary) {
    std::vector<double> periods;
    for (const Packet& packet : dictionary.packets) {
        double period_s = packet.period_ms / 1e3;
        for (const Packet& other : dictionary.packets) {
            if (&other == &packet || other.apid != packet.apid || period_s == 0) continue;
            const double other_s = other.period_ms / 1e3;
            period_s = other_s > 0 ? period_s * other_s / (period_s + other_s) : 0;
        }
        periods.push_back(period_s);
    }
    return periods;
}

double count(std::uint64_t number) {
    return static_cast<double>(number);
}

/// A column for each window of time: `value(source, window)`. The middle one is shown.
template <class Source, class Value>
void add_windowed(TableOf<Source>& table, const Column& column, Value value) {
    constexpr std::size_t kShown = 1;
    for (std::size_t window = 0; window < kQualityWindowTicks.size(); ++window) {
        const double window_s = static_cast<double>(kQualityWindowTicks[window]) * seconds_between(0, kTickNs);
        const std::string seconds = std::to_string(std::lround(window_s));
        Column one = column;
        one.name += "_" + seconds + "s";
        one.title += ", last " + seconds + " s";
        if (window != kShown) one.group.clear();
        table.add(one, [value, window, window_s](const Source& source) { return value(source, window, window_s); });
    }
}

/// Columns that links and kinds of packets have in common: each Source has quality.counts() and quality.windows().
template <class Source>
void add_packet_columns(TableOf<Source>& table, const std::string& group) {
    using S = const Source&;
    table
        .add(
            {"received", "Packets received", "1", group, 0, "Good packets, with duplicates and late ones"},
            [](S s) { return count(s.quality.counts().received); })
        .add(
            {"lost", "Packets lost", "1", group, 0, "By gaps in the sequence counts"},
            [](S s) { return static_cast<double>(s.quality.counts().lost); })
        .add(
            {"duplicates", "Duplicates", "1", "", 0, "Packets already received by this or another link"},
            [](S s) { return count(s.quality.counts().duplicates); })
        .add(
            {"late", "Late packets", "1", "", 0, "Older than one already accepted"},
            [](S s) { return count(s.quality.counts().late); })
        .add(
            {"out_of_order", "Out of order", "1", "", 0, "Packets received after one with a higher sequence count"},
            [](S s) { return count(s.quality.counts().out_of_order); })
        .add(
            {"sequence_resets", "Sequence counter resets", "1", "", 0},
            [](S s) { return count(s.quality.counts().sequence_resets); });
    add_windowed(
        table, {"rate", "Packet rate", "/s", group, 1, "Without duplicates on this link"},
        [](S s, std::size_t window, double window_s) {
            return static_cast<double>(s.quality.windows().sums(window).fresh) / window_s;
        });
    add_windowed(table, {"loss", "Packet loss", "{fraction}", group, 3, "Fraction of the packets sent"},
                 [](S s, std::size_t window, double) { return s.quality.windows().loss(window); });
}

bool can_be_read(DecodeVerdict verdict) {
    return verdict == DecodeVerdict::good || verdict == DecodeVerdict::idle || verdict == DecodeVerdict::part;
}

bool expects_no_data(LinkState state) {
    return state == LinkState::no_data || state == LinkState::lost || state == LinkState::cannot_open;
}
bool ends_alert(LinkState state) {
    return state == LinkState::open || state == LinkState::end_of_file;
}

} // namespace

TableOf<LinkFigures> link_table() {
    using S = const LinkFigures&;
    TableOf<LinkFigures> table{"", "Link", seconds_between(0, kRowPeriodNs)};
    table.add({"bytes", "Bytes received", "By", "", 0}, [](S s) { return count(s.quality.bytes_in()); })
        .add({"frames_good", "Good frames", "1", kGroup, 0, "With a correct checksum"},
             [](S s) { return count(s.frames.frames_good); })
        .add({"frames_bad", "Bad frames", "1", kGroup, 0, "Without a usable packet"},
             [](S s) { return count(s.frames.frames_bad); })
        .add({"bad_stuffing", "Bad byte stuffing", "1", "", 0},
             [](S s) {
                 return count(s.quality.bad_frames(FrameVerdict::bad_cobs) +
                              s.quality.bad_frames(FrameVerdict::bad_escape));
             })
        .add({"bad_checksum", "Bad checksum", "1", "", 0},
             [](S s) { return count(s.quality.bad_frames(FrameVerdict::bad_crc)); })
        .add({"bad_length", "Bad length field", "1", "", 0},
             [](S s) { return count(s.quality.bad_frames(FrameVerdict::bad_length)); })
        .add({"too_long", "Too long for a frame", "1", "", 0},
             [](S s) { return count(s.quality.bad_frames(FrameVerdict::too_long)); })
        .add({"no_checksum", "Lines without checksum", "1", "", 0},
             [](S s) { return count(s.quality.bad_frames(FrameVerdict::no_checksum)); })
        .add({"not_text", "Lines that are not text", "1", "", 0},
             [](S s) { return count(s.quality.bad_frames(FrameVerdict::not_text)); })
        .add({"cut_short", "Sentences cut short", "1", "", 0},
             [](S s) { return count(s.quality.bad_frames(FrameVerdict::cut_short)); })
        .add({"outside", "Runs of bytes outside frames", "1", "", 0},
             [](S s) { return count(s.quality.bad_frames(FrameVerdict::outside)); })
        .add({"not_data", "Frames of other kinds", "1", "", 0, "KISS commands, AX.25 frames other than UI"},
             [](S s) { return count(s.quality.bad_frames(FrameVerdict::not_data)); })
        .add({"uncorrectable", "Too many errors to correct", "1", "", 0},
             [](S s) { return count(s.quality.bad_frames(FrameVerdict::uncorrectable)); })
        .add({"dropped_bytes", "Bytes outside good frames", "By", "", 0},
             [](S s) { return count(s.frames.bytes_dropped); })
        .add({"undecodable", "Undecodable frames", "1", kGroup, 0, "Good frames that the dictionary cannot read"},
             [](S s) { return count(s.quality.undecodable_count()); })
        .add({"idle", "Idle packets", "1", "", 0}, [](S s) { return count(s.quality.idle()); })
        .add({"age_s", "Last good frame", "s", kGroup, 1, "Time since"}, [](S s) { return s.quality.age_s(s.t_ns); });
    add_packet_columns(table, kGroup);
    table
        .add(
            {"first_here", "First heard here", "1", "", 0, "Packets whose first good copy came by this link"},
            [](S s) { return count(s.receiver.first); })
        .add(
            {"only_here", "Heard only here", "1", "", 0,
             "Of these, packets that no other link has brought, but for those still on their way"},
            [](S s) { return count(s.receiver.only); })
        .add(
            {"combined_from", "Damaged frames combined", "1", "", 0,
             "Damaged frames of this link of which a good one was made, with those of other links"},
            [](S s) { return count(s.receiver.combined_from); })
        .add(
            {"clock_lead_s", "This clock − the other station's", "s", "", 3,
             "At most, by the quickest message of the last minutes; of links of another station"},
            [](S s) { return s.clock_lead_s; })
        .add(
            {"relay_s", "Since the other station received it", "s", "", 3,
             "The newest bytes, beyond what the quickest message takes; of links of another station"},
            [](S s) { return s.relay_s; });
    add_windowed(table, {"byte_rate", "Byte rate", "By/s", kGroup, 0}, [](S s, std::size_t window, double window_s) {
        return static_cast<double>(s.quality.windows().sums(window).bytes) / window_s;
    });
    return table;
}

TableOf<PacketFigures> link_packet_table() {
    TableOf<PacketFigures> table{"", "Packet", seconds_between(0, kRowPeriodNs)};
    add_packet_columns(table, ""); // one kind of packet is looked up, not watched
    table.add({"age_s", "Last packet", "s", "", 1, "Time since"},
              [](const PacketFigures& s) { return s.quality.age_s(s.t_ns); });
    return table;
}

LinkTrack::LinkTrack(const LinkSetup& setup, LinkId id, const Schema& schema, const LinkTables& tables,
                     const Dictionary& dictionary)
    : setup_(&setup), delay_(link_delay(setup.uri)), newest_relay_s_(kNaN), schema_(&schema), id_(id), tables_(tables),
      reader_(link_framing(setup.uri), dictionary), quality_(periods_s(dictionary)), diagnosis_(dictionary.version),
      correctable_(code_of_link(setup.uri).value_or(0)) {}

void LinkTrack::bytes(std::int64_t t_rx_ns, std::span<const std::byte> bytes, VehicleTrack& vehicle,
                      Receivers& receivers, Batch& out) {
    delay_.relayed_ns = 0;
    if (!relay_s_.empty()) {
        newest_relay_s_ = relay_s_.front();
        delay_.relayed_ns = std::llround(newest_relay_s_ * 1e9);
        relay_s_.pop_front();
    }
    end_absence(t_rx_ns);
    quality_.bytes(bytes.size());
    diagnosis_.bytes(t_rx_ns, bytes);
    reader_.push(bytes, [&](const Frame& frame, const DecodedPacket* packet) {
        FrameRecord record{.link = id_,
                           .t_rx_ns = t_rx_ns,
                           .stream_offset = frame.stream_offset,
                           .link_bytes = frame.link_bytes,
                           .frame_verdict = frame.verdict};
        if (packet != nullptr) {
            receivers.good(id_, t_rx_ns, frame.received);
            const PacketOutcome outcome = vehicle.packet(*packet, frame.packet, record, delay_, out);
            receivers.count(outcome);
            count(outcome);
        } else {
            quality_.bad_frame(frame.verdict);
            diagnosis_.bad_frame(frame.verdict);
            out.frames.push_back(record);
            combine(frame, record, vehicle, receivers, out);
        }
    });
}

void LinkTrack::combine(const Frame& frame, const FrameRecord& record, VehicleTrack& vehicle, Receivers& receivers,
                        Batch& out) {
    const std::int64_t t_ns = record.t_rx_ns;
    for (auto vote = receivers.damaged(id_, t_ns, frame); !vote.empty(); vote = receivers.more(t_ns)) {
        bool accepted = false;
        reader_.judge(vote, [&](const Frame& made, const DecodedPacket* packet) {
            // That a packet can be read is a second check; of what holds none, or an idle one, there is only one.
            if (packet == nullptr || !can_be_read(packet->verdict)) return;
            if (!std::exchange(accepted, true)) receivers.accept(t_ns, made.received);
            // It took its time on the line, but has no bytes there: those are the damaged copies'.
            LinkDelay delay = delay_;
            delay.latency_s += delay.byte_s * static_cast<double>(made.link_bytes);
            vehicle.packet(*packet, made.packet,
                           {.link = id_,
                            .t_rx_ns = t_ns,
                            .stream_offset = record.stream_offset + record.link_bytes,
                            .frame_verdict = FrameVerdict::combined},
                           delay, out);
        });
        if (!accepted) receivers.reject(t_ns);
    }
}

void LinkTrack::end_absence(std::int64_t t_ns) noexcept {
    if (absent_since_ns_) quality_.absent(t_ns - *absent_since_ns_);
    absent_since_ns_.reset();
}

void LinkTrack::count(const PacketOutcome& outcome) {
    const FrameRecord& frame = outcome.record;
    diagnosis_.good_frame(outcome);
    if (frame.packet_verdict == PacketVerdict::idle) quality_.idle_frame(frame.t_rx_ns);
    if (frame.packet_verdict == PacketVerdict::undecodable) quality_.undecodable();
    if (!outcome.kind) return;
    quality_.packet(*outcome.kind, static_cast<std::uint16_t>(frame.sequence_count), frame.boot, frame.t_rx_ns,
                    frame.link_bytes);
    if (frame.packet_verdict == PacketVerdict::duplicate) quality_.duplicate(*outcome.kind);
    if (frame.packet_verdict == PacketVerdict::late) quality_.late(*outcome.kind);
}

void LinkTrack::report(std::int64_t t_ns, const LinkReport& report, Batch& out) {
    const auto announce = [&](EventId id, bool cleared) {
        out.events.push_back(make_event(
            {.id = id,
             .t_ns = t_ns,
             .about = report.link,
             .values = {{"link", report.link}, {"state", std::string(word(report.state))}, {"detail", report.detail}},
             .cleared = cleared},
            t_ns, {static_cast<int>(setup_->vehicle)}));
    };
    if (report.state != LinkState::opening) end_absence(t_ns);
    announce(EventId::link_state, false);
    const bool down = expects_no_data(report.state) || (down_ && !ends_alert(report.state));
    if (report.state == LinkState::end_of_file) diagnosis_.end();
    const bool changed = std::exchange(down_, down) != down;
    if (changed && down) diagnose(t_ns, out);
    if (changed) announce(EventId::link_down, !down);
}

void LinkTrack::relayed(std::int64_t t_ns, const Relayed& times) {
    // As far back as a recording of the other station may reach, and not before it was received.
    constexpr double kMost_s = 86400;
    const double late_s = site_clock_.take(t_ns, times.clock, times.sent_ns);
    relay_s_.clear();
    for (const double before_s : times.heard_before_s) relay_s_.push_back(std::clamp(late_s + before_s, 0.0, kMost_s));
}

void LinkTrack::judge_site_clock(std::int64_t t_ns, Batch& out) {
    // What a crew that hears both stations would notice; a message that takes that long is as bad.
    constexpr double kOff_s = 1.0;
    const double lead_s = site_clock_.lead_most_s();
    if (!std::isfinite(lead_s)) return;
    const bool off = std::abs(lead_s) > kOff_s;
    if (std::exchange(site_clock_off_, off) == off) return;
    out.events.push_back(make_event({.id = EventId::site_clock_off,
                                     .t_ns = t_ns,
                                     .about = setup_->name,
                                     .values = {{"link", setup_->name}, {"lead_most_s", lead_s}},
                                     .cleared = !off},
                                    t_ns, {static_cast<int>(setup_->vehicle)}));
}

void LinkTrack::diagnose(std::int64_t t_ns, Batch& out) {
    const std::optional<LinkTrouble> trouble = down_ ? std::nullopt : diagnosis_.trouble(t_ns);
    const std::optional<LinkTrouble> before = std::exchange(trouble_, trouble);
    if (trouble == before) return;
    const auto announce = [&](EventValues values, bool cleared) {
        values.insert(values.begin(), {"link", setup_->name});
        out.events.push_back(make_event({.id = EventId::link_trouble,
                                         .t_ns = t_ns,
                                         .about = setup_->name,
                                         .values = std::move(values),
                                         .cleared = cleared},
                                        t_ns, {static_cast<int>(setup_->vehicle)}));
    };
    if (before) announce({{"cause", std::string(word(*before))}}, true);
    if (!trouble) return;
    EventValues values = diagnosis_.facts(*trouble, t_ns);
    if (trouble == LinkTrouble::no_frames) values.push_back({"serial", setup_->uri.starts_with("serial:")});
    announce(std::move(values), false);
}

void LinkTrack::tick(std::int64_t t_ns, const Receivers& receivers, Batch& out) {
    quality_.tick();
    if (t_ns % kDiagnosisPeriodNs == 0) diagnose(t_ns, out);
    if (t_ns % kRowPeriodNs != 0) return;
    judge_site_clock(t_ns, out);
    const double lead_s = site_clock_.lead_most_s();
    out.add_row(schema_->tables[tables_.totals], t_ns, t_ns,
                table_.row({reader_.counts(), quality_, receivers.counts(id_), std::isfinite(lead_s) ? lead_s : kNaN,
                            newest_relay_s_, t_ns}));
    if (const CodeFigures* code = reader_.code(); code != nullptr && tables_.code) {
        out.add_row(schema_->tables[*tables_.code], t_ns, t_ns, code_table_.row({*code, code_before_, correctable_}));
        code_before_ = *code;
        reader_.begin_code_period();
    }
    std::size_t table = tables_.packets;
    for (const PacketQuality& packet : quality_.packets())
        out.add_row(schema_->tables[table++], t_ns, t_ns, packet_table_.row({packet, t_ns}));
}

} // namespace turnstone
