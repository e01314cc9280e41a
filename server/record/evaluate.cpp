#include "server/record/evaluate.hpp"

#include <algorithm>
#include <optional>
#include <utility>

#include "server/pipeline/events.hpp"
#include "server/record/stored_inputs.hpp"

namespace turnstone {

namespace {

template <class Value>
Value value_in(const Event& event, std::string_view name) {
    for (const EventValue& value : event.values)
        if (value.name == name && std::holds_alternative<Value>(value.value)) return std::get<Value>(value.value);
    return {};
}

/// Follows the events and the rows of one procedure of one vehicle.
class Verdicts {
  public:
    Verdicts(const Procedure& procedure, int vehicle, const Table& table)
        : procedure_(procedure), vehicle_(vehicle), table_(table) {
        forget();
    }

    void see(const Batch& batch) {
        for (const Event& event : batch.events) {
            if (event.vehicle != vehicle_ || value_in<std::string>(event, "procedure") != procedure_.id) continue;
            if (event.id == EventId::procedure_begun) forget();
            if (event.id == EventId::procedure_ended) {
                verdict_ = value_in<std::string>(event, "verdict");
                waived_ = value_in<std::vector<std::string>>(event, "waived");
            }
            if (event.id != EventId::check_decided) continue;
            const std::string id = value_in<std::string>(event, "check");
            const auto check = std::ranges::find(checks_, id, &EvaluatedCheck::id);
            if (check == checks_.end()) continue;
            check->state = from_word<CheckState>(value_in<std::string>(event, "state")).value_or(CheckState::waits);
            decided_[static_cast<std::size_t>(check - checks_.begin())] = event;
        }
        for (const RowRecord& row : batch.rows) {
            if (row.table != table_.id) continue;
            const auto numbers = batch.numbers_of(row, table_);
            last_row_.assign(numbers.begin(), numbers.end());
        }
    }

    [[nodiscard]] Evaluation result(bool was_run) && {
        Evaluation out{
            .vehicle = {}, .title = procedure_.title, .was_run = was_run, .verdict = verdict_, .waived = waived_};
        out.holds = !was_run || verdict_ == "passed"; // steps may be waived, with a reason, or left undone
        for (std::size_t k = 0; k < checks_.size(); ++k) {
            const bool is_excused = procedure_.checks[k].subject == CheckSubject::statement;
            const bool is_must = checks_[k].severity == Severity::must;
            if (!was_run && is_must && !is_excused && checks_[k].state != CheckState::holds) out.holds = false;
            if (decided_[k]) checks_[k].text = sentence(*decided_[k]);
        }
        out.checks = std::move(checks_);
        return out;
    }

  private:
    /// The event has the figures of the last change of state or of its reason; the row that every run ends with has
    /// those since.
    [[nodiscard]] std::string sentence(const Event& decided) const {
        EventValues values = decided.values;
        const auto column = std::ranges::find(table_.columns, value_in<std::string>(decided, "check"), &Column::name);
        const auto place = static_cast<std::size_t>(column - table_.columns.begin());
        if (place < last_row_.size()) {
            std::erase_if(values, [](const EventValue& value) { return value.name == "measured"; });
            values.push_back({"measured", last_row_[place]});
        }
        return make_event({.id = EventId::check_decided, .t_ns = decided.t_ns, .values = std::move(values)},
                          decided.t_ns)
            .text;
    }

    void forget() {
        verdict_ = "incomplete";
        waived_.clear();
        checks_.clear();
        decided_.assign(procedure_.checks.size(), std::nullopt);
        last_row_.clear();
        for (const Check& check : procedure_.checks)
            checks_.push_back({check.id, check.severity, CheckState::waits, check.title + ": waits"});
    }

    const Procedure& procedure_;
    int vehicle_;
    const Table& table_;
    std::string verdict_;
    std::vector<std::string> waived_;
    std::vector<EvaluatedCheck> checks_;
    std::vector<std::optional<Event>> decided_; ///< by check: its last change of state
    std::vector<double> last_row_;
};

Result<std::size_t> vehicle_with(const PipelineSetup& setup, const std::string& procedure, const std::string& name,
                                 const std::string& file) {
    std::optional<std::size_t> found;
    std::string known;
    for (std::size_t v = 0; v < setup.vehicles.size(); ++v) {
        const VehicleSetup& vehicle = setup.vehicles[v];
        for (const Procedure& each : vehicle.procedures)
            known += (known.empty() ? "" : ", ") + vehicle.dictionary.vehicle + " " + each.id;
        const bool has = std::ranges::find(vehicle.procedures, procedure, &Procedure::id) != vehicle.procedures.end();
        if (!has || (!name.empty() && name != vehicle.dictionary.vehicle)) continue;
        if (found)
            return fail(file + ": several vehicles have the procedure " + procedure + "; say which with --vehicle");
        found = v;
    }
    if (!found)
        return fail(file + ": has no procedure " + procedure + (name.empty() ? "" : " of vehicle " + name) + "; " +
                    (known.empty() ? "it has none: give a folder that has it with --with" : "it has " + known));
    return *found;
}

bool begins(const Action& action, const std::string& vehicle, const std::string& procedure) {
    if (const auto* command = std::get_if<ProcedureCommand>(&action))
        return command->vehicle == vehicle && command->procedure == procedure && command->step == ProcedureStep::begin;
    const auto* carried = std::get_if<CarriedProcedure>(&action);
    return carried != nullptr && carried->vehicle == vehicle && carried->procedure == procedure;
}

bool was_run(RecordingReader& reader, const std::string& vehicle, const std::string& procedure) {
    bool found = false;
    reader.inputs([](const ChunkRecord&, std::span<const std::byte>) {},
                  [&](const ActionRecord& record) { found = found || begins(record.action, vehicle, procedure); });
    return found;
}

} // namespace

Result<Evaluation> evaluate_procedure(const std::filesystem::path& file, const std::string& procedure,
                                      const std::string& vehicle, std::vector<VehicleSetup> replacements) {
    auto reader = RecordingReader::open(file);
    if (!reader) return tl::unexpected(reader.error());
    const RecordingInfo info = reader->info();
    const auto setup = reader->setup(std::move(replacements));
    if (!setup) return tl::unexpected(setup.error());
    if (!is_plausible_start(info.t_start_ns)) return fail(file.string() + ": is damaged: its start cannot be true");
    const auto place = vehicle_with(*setup, procedure, vehicle, file.string());
    if (!place) return tl::unexpected(place.error());
    const VehicleSetup& of = setup->vehicles[*place];
    const std::string& name = of.dictionary.vehicle;
    const auto file_of = std::ranges::find(of.procedures, procedure, &Procedure::id);
    try {
        const bool run = was_run(*reader, name, procedure);
        Pipeline pipeline(*setup, info.t_start_ns);
        pipeline.fly_one_prediction_in(0); // no procedure rests on them
        const auto table = std::ranges::find(pipeline.schema().tables, name + "/procedure/" + procedure, &Table::name);
        Verdicts verdicts(*file_of, static_cast<int>(*place), *table); // every procedure has one
        Batch batch;
        const auto command = [&](ProcedureStep step) {
            batch.clear();
            pipeline.action(pipeline.progress().t_ns,
                            ProcedureCommand{.vehicle = name, .procedure = procedure, .step = step, .by = ""}, batch);
            verdicts.see(batch);
        };
        if (!run) command(ProcedureStep::begin);
        const std::string damage = feed_stored_inputs(
            *reader, kAllInputs, pipeline, info.t_end_ns, [](const Inputs&) {},
            [&](const Batch& made) { verdicts.see(made); });
        if (!damage.empty()) return fail(file.string() + ": is damaged: " + damage);
        command(ProcedureStep::end); // of a run that nobody ended; else it does nothing
        Evaluation out = std::move(verdicts).result(run);
        out.vehicle = name;
        return out;
    } catch (const std::exception& failure) {
        return fail("evaluating " + file.string() + ": " + failure.what());
    }
}

} // namespace turnstone
