#include "server/record/amend/add_action.hpp"

#include <algorithm>
#include <exception>
#include <limits>
#include <mutex>
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include "server/pipeline/station/operator_log.hpp"
#include "server/record/format/fixed_tables.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/write/recording_claim.hpp"

namespace turnstone {

namespace {

/// True: it was one that operators write, and `log` has taken it.
bool take(OperatorLog& log, const Action& action, std::int64_t t_ns, Batch& out) {
    return std::visit(
        [&](const auto& what) {
            if constexpr (
                requires { log.take(what, t_ns, out); }) {
                log.take(what, t_ns, out);
                return true;
            }
            return false;
        },
        action);
}

/// The log as it stands at the end of the recording; `ready`: when vehicles were ready again.
OperatorLog log_of(Database& database, std::vector<Event> ready, const PipelineSetup& setup, std::int64_t t_start_ns) {
    OperatorLog log(setup, t_start_ns);
    std::ranges::stable_sort(ready, {}, &Event::t_found_ns);
    Batch batch;
    auto next = ready.begin();
    const auto see_until = [&](std::int64_t t_ns) {
        for (; next != ready.end() && next->t_found_ns <= t_ns; ++next) {
            batch.clear();
            const Marks from = batch.marks();
            batch.events.push_back(*next);
            log.see(batch, from);
        }
    };
    RowSelect<ActionRecord> actions(database, kActionTable, "ORDER BY input");
    while (actions.step()) {
        const ActionRecord record = actions.row();
        see_until(record.t_ns);
        batch.clear();
        take(log, record.action, record.t_ns, batch);
    }
    see_until(std::numeric_limits<std::int64_t>::max());
    return log;
}

/// What the recording says of itself, where something may be written into it.
struct Complete {
    RecordingInfo info;
    PipelineSetup setup;
    std::vector<Event> ready;
};
Result<Complete> complete_recording(const std::filesystem::path& recording) {
    const std::string file = recording.string();
    auto reader = RecordingReader::open(recording);
    if (!reader) return tl::unexpected(reader.error());
    RecordingInfo info = reader->info();
    if (!info.damage.empty()) return fail(file + ": is damaged, and left as it is: " + info.damage);
    if (!info.closed || (info.inputs > 0 && (!info.derived || info.derived->inputs != info.inputs)))
        return fail(file + ": is not complete yet; try again in a moment");
    if (info.layout < kLayoutVersion)
        return fail(file +
                    ": is of an older layout, which nothing is written into; make one of this layout: turnstone "
                    "reprocess " +
                    file);
    auto setup = reader->setup();
    if (!setup) return tl::unexpected(setup.error());
    std::vector<Event> ready =
        reader->events(std::numeric_limits<std::int64_t>::min(), std::numeric_limits<std::int64_t>::max());
    std::erase_if(ready, [](const Event& event) { return event.id != EventId::ready_again; });
    return Complete{std::move(info), std::move(*setup), std::move(ready)};
}

} // namespace

Result<void> add_action(const std::filesystem::path& recording, const Action& action) {
    static std::mutex one_at_a_time;
    const std::lock_guard lock(one_at_a_time);
    const std::string file = recording.string();
    try {
        auto complete = complete_recording(recording); // while it is nobody's: a file that is cut short shows it then
        if (!complete) return tl::unexpected(complete.error());
        const auto claim = RecordingClaim::take(recording);
        if (!claim) return fail(file + ": is being written; try again when it has ended");
        const RecordingInfo& info = complete->info;
        const ActionRecord record{.input = info.inputs,
                                  .t_ns = std::max(info.t_start_ns, info.derived ? info.derived->t_ns : 0),
                                  .action = action};
        const std::int64_t t_end_ns = std::max(info.t_end_ns, record.t_ns);
        Database database(recording, Database::Mode::read_write);
        database.execute("BEGIN IMMEDIATE");
        OperatorLog log = log_of(database, std::move(complete->ready), complete->setup, info.t_start_ns);
        Batch events;
        if (!take(log, action, record.t_ns, events)) return fail("this is nothing that operators write");
        RowInsert<ActionRecord>(database, kActionTable).write(record);
        RowInsert<EventRow> rows(database, kEventTable);
        for (const Event& event : events.events) rows.write({0, event});
        RowInsert<MetaRow> meta(database, kMetaTable);
        meta.write({"t_end_ns", std::to_string(t_end_ns)});
        meta.write({"derived_inputs", std::to_string(record.input + 1)});
        meta.write({"derived_t_ns", std::to_string(record.t_ns)});
        database.execute("COMMIT");
        return {};
    } catch (const std::exception& error) {
        return fail(file + ": nothing was written: " + error.what() + "; check that the file may be written to");
    }
}

} // namespace turnstone
