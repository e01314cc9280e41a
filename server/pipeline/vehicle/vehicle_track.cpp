#include "server/pipeline/vehicle/vehicle_track.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "protocol/packet/space_packet.hpp"
#include "shared/time.hpp"

namespace turnstone {

namespace {

/// Puts a chain's rows and events into a batch.
class BatchSink final : public EstimateSink {
  public:
    /// `first_table` is the schema's for the chain's first.
    BatchSink(Batch& out, const Schema& schema, TableId first_table, EventVehicle vehicle, std::int64_t t_found_ns)
        : out_(out), schema_(schema), first_table_(first_table), vehicle_(vehicle), t_found_ns_(t_found_ns) {}
    void row(std::size_t table, std::int64_t t_ns, std::span<const double> values) override {
        out_.add_row(schema_.tables[first_table_ + table], t_ns, t_found_ns_, values);
    }
    void event(EstimateEvent event) override {
        out_.events.push_back(make_event(std::move(event), t_found_ns_, vehicle_));
    }

  private:
    Batch& out_;
    const Schema& schema_;
    std::size_t first_table_;
    EventVehicle vehicle_;
    std::int64_t t_found_ns_;
};

} // namespace

TableOf<ClockFigures> clock_table() {
    using S = const ClockFigures&;
    constexpr const char* kGroup = "Clock";
    TableOf<ClockFigures> table{"clock", "Clock", seconds_between(0, kTickNs)};
    table
        .add({"onboard_zero_s", "On-board zero", "s", kGroup, 4,
              "When the vehicle's clock read zero, from the start of the recording"},
             [](S s) { return s.onboard_zero_s; })
        .add({"onboard_zero_bound_s", "On-board zero, bound", "s", kGroup, 4,
              "Of mapped times, about 95 %, with what is not known of the link's smallest delay"},
             [](S s) { return s.fit.bound_s + s.least_delay_bound_s; })
        .add({"drift_ppm", "Clock drift", "[ppm]", kGroup, 1,
              "Of the vehicle's clock against the station's; positive when it runs fast"},
             [](S s) { return s.fit.has_slope ? s.fit.drift_ppm : kNaN; })
        .add({"drift_bound_ppm", "Clock drift, bound", "[ppm]", kGroup, 1, "About 95 %"},
             [](S s) { return s.fit.drift_bound_ppm; })
        .add({"delay_s", "Packet delay", "s", kGroup, 3, "Of the newest packet, beyond the smallest delay"},
             [](S s) { return s.delay_s; })
        .add({"boots", "Reboots", "1", kGroup, 0, "Of the flight computer, in this recording"},
             [](S s) { return static_cast<double>(s.boots); })
        .add({"utc_offset_s", "UTC offset", "s", "", 4, "System UTC minus station time"},
             [](S s) { return s.utc.offset_s; })
        .add({"utc_bound_s", "UTC bound", "s", "", 4,
              "Of the UTC of on-board events, about 95 %, if the system clock is right"},
             [](S s) { return s.fit.bound_s + s.least_delay_bound_s + s.utc.wander_s; })
        .add({"gnss_ahead_s", "System clock − GNSS time", "s", "", 3,
              "Of this computer, by the times in GNSS fixes; positive when it runs ahead"},
             [](S s) { return s.gnss.ahead_s; })
        .add({"gnss_ahead_bound_s", "System clock − GNSS time, bound", "s", "", 3,
              "About 95 %; most of it is the delay from fix to packet"},
             [](S s) { return s.gnss.bound_s; });
    return table;
}

VehicleTrack::VehicleTrack(const VehicleSetup& setup, const Site& site, int vehicle, const Schema& schema,
                           const VehicleTables& tables, Router router, estimate::EstimatorChain chain, bool relayed)
    : setup_(&setup), schema_(&schema), vehicle_(vehicle), tables_(tables), router_(std::move(router)),
      judge_(setup.dictionary, setup.vehicle, site), chain_(std::move(chain)), newest_delay_s_(kNaN),
      delay_bound_s_(kNaN), merges_(setup.dictionary.packets.size(), PacketMerge(relayed)),
      uncounted_(setup.dictionary.packets.size()), kind_of_apid_(kIdleApid + 1u, -1) {
    for (const TimeCode& code : setup.dictionary.clocks) clocks_.push_back({OnboardClock(code.rollover_ns())});
    // Layouts of one APID share its sequence count: the first stands for all.
    for (std::size_t k = setup.dictionary.packets.size(); k-- > 0;)
        kind_of_apid_[setup.dictionary.packets[k].apid] = static_cast<std::int16_t>(k);
    for (std::size_t t = 0; t < setup.dictionary.tables.size(); ++t)
        for (const Channel& channel : setup.dictionary.tables[t].channels)
            if (channel.role == Role::dictionary_version)
                version_at_ = {t, channel.place - setup.dictionary.tables[t].number_count};
}

void VehicleTrack::announce(std::int64_t t_ns, Batch& out) const {
    for (const estimate::MissingInput& missing : chain_.missing())
        out.events.push_back(
            make_event({.id = EventId::estimate_missing,
                        .t_ns = t_ns,
                        .about = missing.estimator,
                        .values = {{"estimate", missing.estimator}, {"needs", missing.roles}, {"any", missing.any}}},
                       t_ns, about()));
}

void VehicleTrack::follow_clock(std::size_t which, const ClockReading& reading, std::int64_t t_rx_ns,
                                std::int64_t t_sent_ns, Batch& out) {
    ClockCorrelation& correlation = clocks_[which].correlation;
    const bool is_first = which == 0;
    if (is_first && reading.verdict == ClockVerdict::reset) {
        // Booted no later than its clock says, if the packet took no longer than the link does; delays are of this
        // order.
        constexpr double kBootTimeSigma_s = 0.1;
        out.events.push_back(make_event({.id = EventId::reboot,
                                         .t_ns = t_sent_ns - reading.onboard_ns,
                                         .t_sigma_s = kBootTimeSigma_s,
                                         .values = {{"boot", static_cast<double>(reading.boot)}}},
                                        t_rx_ns, about()));
    } else if (is_first && reading.verdict == ClockVerdict::jump) {
        out.events.push_back(make_event({.id = EventId::clock_jump, .t_ns = t_rx_ns}, t_rx_ns, about()));
    }
    switch (reading.verdict) {
    case ClockVerdict::reset:
    case ClockVerdict::jump: correlation.restart(); [[fallthrough]];
    case ClockVerdict::first:
    case ClockVerdict::advance:
    case ClockVerdict::rollover:
        correlation.add(reading.onboard_ns, t_sent_ns);
        if (is_first) newest_delay_s_ = seconds_between(correlation.fitted_station_ns(reading.onboard_ns), t_sent_ns);
        break;
    case ClockVerdict::repeat:
    case ClockVerdict::late:
    case ClockVerdict::implausible: break;
    }
    if (is_first && reading.verdict == ClockVerdict::reset) {
        router_.reboot();
        chain_.reboot();
    }
}

StationAgainstGnss VehicleTrack::against_gnss(const UtcOffset& utc) const noexcept {
    const SensorNoise& sensors = setup_->vehicle.sensors;
    const double delay_bound_s = std::isfinite(delay_bound_s_) ? delay_bound_s_ : 0;
    return {router_.station_ahead_of_gnss_s() + utc.offset_s, std::hypot(2 * sensors.fix_delay_sigma_s, delay_bound_s)};
}

void VehicleTrack::judge_station_clock(std::int64_t t_ns, const StationAgainstGnss& gnss, Batch& out) {
    // Half a second: what a crew that films, tracks or calls the countdown by this clock would notice.
    constexpr double kOff_s = 0.5;
    if (!std::isfinite(gnss.ahead_s)) return;
    const bool off = std::abs(gnss.ahead_s) > kOff_s + gnss.bound_s;
    const bool right = std::abs(gnss.ahead_s) < kOff_s;
    if (station_clock_off_ ? !right : !off) return;
    station_clock_off_ = off;
    out.events.push_back(make_event({.id = EventId::station_clock_off,
                                     .t_ns = t_ns,
                                     .values = {{"ahead_s", gnss.ahead_s}, {"bound_s", gnss.bound_s}},
                                     .cleared = !off},
                                    t_ns, about()));
}

std::int64_t VehicleTrack::row_time_ns(const FrameRecord& record, std::int64_t t_heard_ns, const Clock* clock,
                                       double offset_ms) noexcept {
    const std::int64_t offset_ns = std::llround(offset_ms * 1e6);
    const std::int64_t t_ns =
        clock != nullptr ? clock->correlation.station_ns(record.onboard_ns + offset_ns) : t_heard_ns + offset_ns;
    return std::min(t_ns, record.t_rx_ns);
}

std::optional<std::string_view> VehicleTrack::told_version(const DecodedPacket& decoded) const noexcept {
    if (version_at_)
        for (const DecodedRow& row : decoded.rows)
            if (row.table == version_at_->table) return row.texts[version_at_->text];
    return std::nullopt;
}

void VehicleTrack::append_rows(const DecodedPacket& decoded, const FrameRecord& record, std::int64_t t_heard_ns,
                               bool to_estimators, const Clock* clock, Batch& out) {
    const auto frame = static_cast<std::int32_t>(out.frames.size());
    BatchSink sink(out, *schema_, tables_.estimates, about(), record.t_rx_ns);
    for (const DecodedRow& row : decoded.rows) {
        const std::int64_t t_ns = row_time_ns(record, t_heard_ns, clock, row.time_offset_ms);
        out.add_row(schema_->tables[tables_.packets + row.table], t_ns, record.t_rx_ns, row.numbers, row.texts, frame);
        if (to_estimators) router_.route(row, t_ns, chain_, sink, wind_chains_);
    }
}

PacketOutcome VehicleTrack::packet(const DecodedPacket& decoded, std::span<const std::byte> packet, FrameRecord record,
                                   const LinkDelay& delay, Batch& out) {
    record.decode_verdict = decoded.verdict;
    record.apid = decoded.apid;
    record.sequence_count = decoded.sequence_count;
    record.boot = clocks_.empty() ? 0 : clocks_.front().onboard.boots();
    if (decoded.verdict == DecodeVerdict::idle || decoded.verdict == DecodeVerdict::part ||
        decoded.verdict == DecodeVerdict::unused) {
        record.packet_verdict = PacketVerdict::idle;
        out.frames.push_back(record);
        return {record};
    }
    if (decoded.verdict != DecodeVerdict::good) {
        record.packet_verdict = PacketVerdict::undecodable;
        out.frames.push_back(record);
        const std::int16_t kind = kind_of_apid_[decoded.apid];
        if (kind < 0 || decoded.verdict == DecodeVerdict::not_telemetry) return {record};
        return {record, static_cast<std::size_t>(kind)};
    }

    const auto kind = static_cast<std::size_t>(kind_of_apid_[decoded.apid]);
    PacketMerge::Seen seen;
    seen.content = PacketMerge::content_hash(packet);
    seen.counter_ns = decoded.onboard_ticks_ns;
    const std::int64_t t_heard_ns = record.t_rx_ns - delay.relayed_ns;
    seen.t_heard_ns = t_heard_ns;
    // What nobody counts is counted here, over all links: none is late by its count.
    Uncounted& uncounted = uncounted_[decoded.packet];
    const std::uint64_t content = decoded.is_counted     ? 0
                                  : decoded.said.empty() ? UncountedMerge::content_hash(decoded.rows)
                                                         : PacketMerge::content_hash(decoded.said);
    if (!decoded.is_counted) {
        if (const auto* first = uncounted.merge.find_copy(content, record.link, record.t_rx_ns, decoded.is_repeated)) {
            record.packet_verdict = PacketVerdict::duplicate;
            record.onboard_ns = first->onboard_ns;
            record.boot = first->boot;
            out.frames.push_back(record);
            PacketOutcome outcome{record, kind};
            if (first->was_alone) outcome.no_longer_alone = first->link;
            return outcome;
        }
        uncounted.count = static_cast<std::uint16_t>((uncounted.count + 1U) % kSequenceModulus);
    }
    seen.sequence_count = decoded.is_counted ? decoded.sequence_count : uncounted.count;
    PacketMerge& merge = merges_[decoded.packet];
    if (record.frame_verdict != FrameVerdict::combined) seen.link = record.link;
    if (PacketMerge::Seen* first = merge.find_duplicate(seen)) {
        record.packet_verdict = PacketVerdict::duplicate;
        record.onboard_ns = first->onboard_ns;
        record.boot = first->boot;
        out.frames.push_back(record);
        PacketOutcome outcome{record, kind};
        const bool by_another = first->link >= 0 && seen.link >= 0 && first->link != seen.link;
        if (by_another && !std::exchange(first->heard_by_another, true))
            outcome.no_longer_alone = static_cast<LinkId>(first->link);
        return outcome;
    }

    const Clock* mapping = nullptr;
    if (decoded.has_time) {
        const std::size_t which = setup_->dictionary.packets[decoded.packet].time->clock;
        Clock& clock = clocks_[which];
        const ClockReading reading = clock.onboard.read(decoded.onboard_ticks_ns, t_heard_ns);
        delay_bound_s_ = std::isfinite(delay_bound_s_) ? std::min(delay_bound_s_, delay.bound_s) : delay.bound_s;
        follow_clock(which, reading, record.t_rx_ns, record.t_rx_ns - delay.of_frame_ns(record.link_bytes), out);
        record.onboard_ns = reading.onboard_ns;
        record.boot = reading.boot;
        // The mapping belongs to the present boot; a straggler of the boot before keeps its receive time.
        if (reading.onboard_ns >= 0 && reading.boot == clock.onboard.boots()) mapping = &clock;
    }
    seen.onboard_ns = record.onboard_ns;
    seen.boot = record.boot;
    record.packet_verdict = merge.take(seen);
    if (!decoded.is_counted)
        uncounted.merge.take({.content = content,
                              .t_rx_ns = record.t_rx_ns,
                              .onboard_ns = record.onboard_ns,
                              .boot = record.boot,
                              .link = record.link,
                              .combined = record.frame_verdict == FrameVerdict::combined});
    const bool can_be = judge_.take(decoded, record.t_rx_ns);
    append_rows(decoded, record, t_heard_ns, can_be && record.packet_verdict != PacketVerdict::late, mapping, out);
    out.frames.push_back(record);
    return {record, kind, told_version(decoded), {}, judge_.unfit(decoded.packet)};
}

void VehicleTrack::tick(std::int64_t t_ns, const UtcOffset& utc, std::int64_t t_start_ns, Batch& out) {
    const StationAgainstGnss gnss = against_gnss(utc);
    judge_station_clock(t_ns, gnss, out);
    if (!clocks_.empty() && clocks_.front().correlation.has_points()) {
        Clock& clock = clocks_.front();
        clock.correlation.refit();
        const double zero_s = seconds_between(t_start_ns, clock.correlation.fitted_station_ns(0));
        out.add_row(schema_->tables[tables_.clock], t_ns, t_ns,
                    clock_table_.row({clock.correlation.fit(), zero_s, newest_delay_s_, clock.onboard.boots(), utc,
                                      delay_bound_s_, gnss}));
    }
    for (std::size_t k = 1; k < clocks_.size(); ++k)
        if (clocks_[k].correlation.has_points()) clocks_[k].correlation.refit();
    BatchSink sink(out, *schema_, tables_.estimates, about(), t_ns);
    chain_.tick(t_ns, sink);
}

} // namespace turnstone
