#include "server/pipeline/vehicle/vehicle_track.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "protocol/packet/space_packet.hpp"
#include "shared/time.hpp"

namespace turnstone {

void append_row(Batch& out, TableId table, std::int64_t t_ns, std::int64_t t_rx_ns, std::span<const double> values) {
    out.rows.push_back({table, t_ns, t_rx_ns, -1, static_cast<std::uint32_t>(out.numbers.size()),
                        static_cast<std::uint32_t>(out.texts.size())});
    out.numbers.insert(out.numbers.end(), values.begin(), values.end());
}

void BatchSink::row(std::size_t table, std::int64_t t_ns, std::span<const double> values) {
    append_row(*out, static_cast<TableId>(first_table_ + table), t_ns, t_found_ns, values);
}

void BatchSink::event(EstimateEvent event) {
    out->events.push_back({event.t_ns, t_found_ns, event.t_sigma_s, event.kind, event.level, vehicle_,
                           prefix_ + event.key, std::move(event.text), std::move(event.data_json)});
}

VehicleTrack::VehicleTrack(const VehicleSetup& setup, int vehicle, const VehicleTables& tables, Router router,
                           EstimatorChain chain)
    : setup_(&setup), vehicle_(vehicle), tables_(tables), router_(std::move(router)), chain_(std::move(chain)),
      sink_(vehicle, setup.dictionary.vehicle, tables.estimates), decoder_(setup.dictionary),
      clock_(setup.dictionary.time.rollover_ns()), newest_delay_s_(kNaN), merges_(setup.dictionary.packets.size()),
      kind_of_apid_(kIdleApid + 1u, -1) {
    for (std::size_t k = 0; k < setup.dictionary.packets.size(); ++k)
        kind_of_apid_[setup.dictionary.packets[k].apid] = static_cast<std::int16_t>(k);
}

void VehicleTrack::announce(std::int64_t t_ns, Batch& out) const {
    const Dictionary& dictionary = setup_->dictionary;
    for (const MissingInput& missing : chain_.missing())
        out.events.push_back(
            {t_ns, t_ns, 0, EventKind::recording, Level::note, vehicle_,
             dictionary.vehicle + "/missing/" + missing.estimator,
             dictionary.title + " has no " + missing.what + ", so there is no estimate \"" + missing.estimator + "\".",
             "{}"});
}

void VehicleTrack::follow_clock(const ClockReading& reading, std::int64_t t_rx_ns, Batch& out) {
    const Dictionary& dictionary = setup_->dictionary;
    if (reading.verdict == ClockVerdict::reset) {
        // Booted no later than its clock says, if the packet took no time at all; delays are of this order.
        constexpr double kBootTimeSigma_s = 0.1;
        out.events.push_back({t_rx_ns - reading.onboard_ns, t_rx_ns, kBootTimeSigma_s, EventKind::reboot,
                              Level::caution, vehicle_, dictionary.vehicle + "/reboot",
                              dictionary.title + " restarted its computer.",
                              "{\"boot\":" + std::to_string(reading.boot) + "}"});
    } else if (reading.verdict == ClockVerdict::jump) {
        out.events.push_back({t_rx_ns, t_rx_ns, 0, EventKind::flight_event, Level::advisory, vehicle_,
                              dictionary.vehicle + "/clock/jump",
                              dictionary.title + " moved its clock on; times are matched anew from here.", "{}"});
    }
    switch (reading.verdict) {
    case ClockVerdict::reset:
    case ClockVerdict::jump: correlation_.restart(); [[fallthrough]];
    case ClockVerdict::first:
    case ClockVerdict::advance:
    case ClockVerdict::rollover:
        correlation_.add(reading.onboard_ns, t_rx_ns);
        newest_delay_s_ = seconds_between(correlation_.fitted_station_ns(reading.onboard_ns), t_rx_ns);
        break;
    case ClockVerdict::repeat:
    case ClockVerdict::late:
    case ClockVerdict::implausible: break;
    }
    if (reading.verdict == ClockVerdict::reset) chain_.reboot(t_rx_ns, sink_);
}

std::int64_t VehicleTrack::row_time_ns(const FrameRecord& record, bool mapped, double offset_ms) const noexcept {
    const std::int64_t offset_ns = std::llround(offset_ms * 1e6);
    const std::int64_t t_ns =
        mapped ? correlation_.station_ns(record.onboard_ns + offset_ns) : record.t_rx_ns + offset_ns;
    return std::min(t_ns, record.t_rx_ns);
}

void VehicleTrack::append_rows(const DecodedPacket& decoded, const FrameRecord& record, bool to_estimators, bool mapped,
                               Batch& out) {
    const auto frame = static_cast<std::int32_t>(out.frames.size());
    for (const DecodedRow& row : decoded.rows) {
        const std::int64_t t_ns = row_time_ns(record, mapped, row.time_offset_ms);
        out.rows.push_back({static_cast<TableId>(tables_.packets + row.table), t_ns, record.t_rx_ns, frame,
                            static_cast<std::uint32_t>(out.numbers.size()),
                            static_cast<std::uint32_t>(out.texts.size())});
        out.numbers.insert(out.numbers.end(), row.numbers.begin(), row.numbers.end());
        for (const std::string_view text : row.texts) out.texts.emplace_back(text);
        if (to_estimators) router_.route(row, t_ns, chain_, sink_, wind_chains_);
    }
}

void VehicleTrack::packet(std::span<const std::byte> packet, FrameRecord record, LinkQuality& quality, Batch& out) {
    const DecodedPacket decoded = decoder_.decode(packet);
    sink_.out = &out;
    sink_.t_found_ns = record.t_rx_ns;
    record.decode_verdict = decoded.verdict;
    record.apid = decoded.apid;
    record.sequence_count = decoded.sequence_count;
    record.boot = clock_.boots();
    if (decoded.verdict == DecodeVerdict::idle) {
        record.packet_verdict = PacketVerdict::idle;
        quality.idle_frame(record.t_rx_ns);
        out.frames.push_back(record);
        return;
    }
    if (decoded.verdict != DecodeVerdict::good) {
        record.packet_verdict = PacketVerdict::undecodable;
        quality.undecodable();
        // A packet of the wrong size still is the one with its count: it is not lost.
        const std::int16_t kind = kind_of_apid_[decoded.apid];
        if (kind >= 0 && decoded.verdict != DecodeVerdict::not_telemetry)
            quality.packet(static_cast<std::size_t>(kind), decoded.sequence_count, record.boot, record.t_rx_ns,
                           record.link_octets);
        out.frames.push_back(record);
        return;
    }

    const std::size_t kind = decoded.packet;
    PacketMerge::Seen seen;
    seen.content = PacketMerge::content_hash(packet);
    seen.counter_ns = decoded.onboard_ticks_ns;
    seen.t_rx_ns = record.t_rx_ns;
    seen.sequence_count = decoded.sequence_count;
    if (const PacketMerge::Seen* first = merges_[kind].find_copy(seen)) {
        record.packet_verdict = PacketVerdict::copy;
        record.onboard_ns = first->onboard_ns;
        record.boot = first->boot;
        quality.packet(kind, decoded.sequence_count, record.boot, record.t_rx_ns, record.link_octets);
        quality.copy(kind);
        out.frames.push_back(record);
        return;
    }

    const ClockReading reading = clock_.read(decoded.onboard_ticks_ns, record.t_rx_ns);
    follow_clock(reading, record.t_rx_ns, out);
    record.onboard_ns = seen.onboard_ns = reading.onboard_ns;
    record.boot = seen.boot = reading.boot;
    record.packet_verdict = merges_[kind].take(seen);
    const bool late = record.packet_verdict == PacketVerdict::late;
    quality.packet(kind, decoded.sequence_count, record.boot, record.t_rx_ns, record.link_octets);
    if (late) quality.late(kind);
    // The mapping is of the present boot; a straggler of the one before keeps its receive time.
    const bool mapped = reading.onboard_ns >= 0 && reading.boot == clock_.boots();
    append_rows(decoded, record, !late, mapped, out);
    out.frames.push_back(record);
}

void VehicleTrack::tick(std::int64_t t_ns, double utc_offset_s, double utc_bound_s, std::int64_t t_start_ns,
                        Batch& out) {
    sink_.out = &out;
    sink_.t_found_ns = t_ns;
    if (correlation_.has_points()) {
        correlation_.refit();
        const ClockFit& fit = correlation_.fit();
        std::array<double, static_cast<std::size_t>(ClockColumn::count_)> values;
        const auto set = [&values](ClockColumn column, double value) {
            values[static_cast<std::size_t>(column)] = value;
        };
        set(ClockColumn::onboard_zero_s, seconds_between(t_start_ns, correlation_.fitted_station_ns(0)));
        set(ClockColumn::onboard_zero_bound_s, fit.bound_s);
        set(ClockColumn::drift_ppm, fit.has_slope ? fit.drift_ppm : kNaN);
        set(ClockColumn::drift_bound_ppm, fit.drift_bound_ppm);
        set(ClockColumn::delay_s, newest_delay_s_);
        set(ClockColumn::boots, clock_.boots());
        set(ClockColumn::utc_offset_s, utc_offset_s);
        set(ClockColumn::utc_bound_s, fit.bound_s + utc_bound_s);
        append_row(out, tables_.clock, t_ns, t_ns, values);
    }
    chain_.tick(t_ns, sink_);
}

} // namespace turnstone
