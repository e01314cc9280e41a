#include "tools/trials/debrief/debriefed.hpp"

#include <map>
#include <optional>
#include <string>

#include "server/pipeline/station/pipeline.hpp"
#include "tools/trials/trial.hpp"

namespace turnstone::trials {

namespace {

/// Collects the columns asked for, and the first event of each kind.
class Rows {
  public:
    Rows(const Schema& schema, const std::vector<std::pair<std::string, std::string>>& wanted) : schema_(&schema) {
        for (const Table& table : schema.tables)
            for (std::size_t i = 0; i < table.number_count; ++i)
                for (const auto& [of, column] : wanted)
                    if (table.name.ends_with(of) && table.columns[i].name == column)
                        places_.push_back({&table, i, of + "." + column});
        for (const Table& table : schema.tables)
            for (std::size_t i = 0; i < table.number_count; ++i)
                if (table.columns[i].role == "accel_body_x") places_.push_back({&table, i, "axial"});
    }
    void take(const Batch& batch) {
        for (const RowRecord& row : batch.rows)
            for (const Place& place : places_)
                if (place.table->id == row.table) {
                    const auto numbers = batch.numbers_of(row, schema_->tables[row.table]);
                    columns_[place.name].push_back({row.t_ns, numbers[place.column]});
                }
        for (const Event& event : batch.events)
            if (event.id) events_.try_emplace(*event.id, event);
    }
    [[nodiscard]] debrief::RowsOfColumn column(const std::string& name, std::int64_t origin_ns) const {
        debrief::RowsOfColumn out;
        if (const auto found = columns_.find(name); found != columns_.end())
            for (const auto& [t_ns, value] : found->second) {
                out.t_s.push_back(seconds_between(origin_ns, t_ns));
                out.value.push_back(value);
            }
        return out;
    }
    [[nodiscard]] const Event* event(EventId id) const {
        const auto found = events_.find(id);
        return found == events_.end() ? nullptr : &found->second;
    }

  private:
    struct Place {
        const Table* table;
        std::size_t column;
        std::string name;
    };
    const Schema* schema_;
    std::vector<Place> places_;
    std::map<std::string, std::vector<std::pair<std::int64_t, double>>> columns_;
    std::map<EventId, Event> events_;
};

} // namespace

Debriefed debriefed(const sim::Scenario& scenario, std::uint64_t seed) {
    Debriefed out;
    out.flight = sim::fly(scenario, seed);
    const PipelineSetup setup = trial_setup(scenario);
    Pipeline pipeline(setup, kStart_ns);
    pipeline.set_prediction_period(kInfinity);
    pipeline.leave_steps(0, &out.steps);
    Rows rows(pipeline.schema(), {{"estimate/air", "mach"},
                                  {"estimate/air", "mach_sigma"},
                                  {"estimate/air", "speed_of_sound_mps"},
                                  {"estimate/air", "density_kg_m3"},
                                  {"estimate/vertical", "vertical_speed_mps"}});
    Batch batch;
    const auto take = [&] {
        rows.take(batch);
        for (const RowRecord& row : batch.rows) {
            if (row.frame < 0) continue;
            const FrameRecord& frame = batch.frames[static_cast<std::size_t>(row.frame)];
            if (frame.packet_verdict != PacketVerdict::accepted || frame.onboard_ns < 0 || frame.boot != 0) continue;
            const double made_s = (1e-9 * static_cast<double>(frame.onboard_ns) - out.flight.clock.at_start_s) /
                                  (1 + 1e-6 * out.flight.clock.drift_ppm);
            out.late_s = seconds_between(kStart_ns, row.t_ns) - made_s;
            break;
        }
        batch.clear();
    };
    for (const sim::Delivery& delivery : out.flight.received.deliveries) {
        const std::int64_t t_ns = kStart_ns + seconds_to_ns(delivery.t_end_s);
        pipeline.chunk(0, t_ns, t_ns,
                       std::as_bytes(std::span(out.flight.received.bytes).subspan(delivery.offset, delivery.size)),
                       batch);
        take();
    }
    pipeline.advance(kStart_ns + seconds_to_ns(out.flight.truth.samples.back().t_s + 10), batch);
    take();
    pipeline.leave_last_steps(0);

    const Event* liftoff = rows.event(EventId::liftoff);
    if (liftoff == nullptr) return out;
    out.liftoff_ns = liftoff->t_ns;
    const auto since_s = [&](EventId id) {
        const Event* event = rows.event(id);
        return event == nullptr ? kNaN : seconds_between(out.liftoff_ns, event->t_ns);
    };
    const Event* down = rows.event(EventId::touchdown);
    const std::int64_t end_ns = down == nullptr ? out.liftoff_ns + 600 * kNsPerS : down->t_ns;
    const auto smoothed =
        debrief::smoothed_series(out.steps, {out.liftoff_ns - kNsPerS, end_ns}, [](double) { return true; });
    if (!smoothed) return out;
    out.smoothed = *smoothed;
    out.attitude = estimate::smoothed(out.steps.attitude, end_ns, [](double) { return true; }).value();
    debrief::PerformanceRecord& record = out.record;
    const auto column = [&](const char* name) { return rows.column(name, out.liftoff_ns); };
    debrief::RowsOfColumn axial = column("axial");
    record.axial = {std::move(axial.t_s), std::move(axial.value)};
    record.burnout_s = since_s(EventId::burnout);
    record.apogee_s = since_s(EventId::apogee);
    record.touchdown_s = since_s(EventId::touchdown);
    if (const Event* apogee = rows.event(EventId::apogee)) record.apogee_sigma_s = apogee->t_sigma_s;
    for (const EventId id : {EventId::drogue_out, EventId::main_out}) {
        record.parachute_out_s.push_back(since_s(id));
        const Event* event = rows.event(id);
        record.parachute_out_sigma_s.push_back(event == nullptr ? kNaN : event->t_sigma_s);
    }
    const auto wind = debrief::wind_by_drift(scenario.site, out.smoothed, out.liftoff_ns, record);
    record.course = debrief::course_of(out.smoothed, out.steps.day.value(), wind, out.liftoff_ns,
                                       {.mach = column("estimate/air.mach"),
                                        .mach_sigma = column("estimate/air.mach_sigma"),
                                        .speed_of_sound_mps = column("estimate/air.speed_of_sound_mps"),
                                        .density_kg_m3 = column("estimate/air.density_kg_m3"),
                                        .up_mps = column("estimate/vertical.vertical_speed_mps")});
    return out;
}

} // namespace turnstone::trials
