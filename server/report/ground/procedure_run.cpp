#include "server/report/ground/procedure_run.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "server/report/chapters/clock.hpp"
#include "server/report/page/page.hpp"
#include "server/report/page/table.hpp"
#include "server/report/text/figure.hpp"

namespace turnstone::report {

namespace {

void take_step(const Event& event, ProcedureRun& run) {
    const std::string_view word = what(event);
    const auto found = std::ranges::find_if(
        run.steps, [&](const StepResult& result) { return result.step->id == text_in(event, "step"); });
    if (found == run.steps.end()) return;
    if (word == "step_done" || word == "step_waived") {
        found->state = word == "step_done" ? StepState::done : StepState::waived;
        found->t_ns = event.t_ns;
        found->by = text_in(event, "by");
        found->note = text_in(event, "note");
    } else if (word == "step_repeated") {
        found->state = StepState::ahead;
        ++found->repeats;
    } else if (word == "step_held") {
        found->held = texts_in(event, "reasons");
    }
}

ProcedureRun begun(const Recorded& recorded, const Event& event) {
    ProcedureRun run;
    run.vehicle = static_cast<std::size_t>(event.vehicle);
    run.id = text_in(event, "procedure");
    run.title = text_in(event, "title");
    run.by = text_in(event, "by");
    run.number = number_in(event, "run");
    run.window = {event.t_ns, recorded.whole().to_ns};
    for (const Procedure& procedure : recorded.setup().vehicles[run.vehicle].procedures)
        if (procedure.id == run.id) run.procedure = &procedure;
    if (run.procedure != nullptr)
        for (const Step& step : run.procedure->steps)
            run.steps.push_back({.step = &step, .by = {}, .note = {}, .held = {}});
    return run;
}

Markup step_line(const StepResult& result, std::size_t number, const ReportClock& clock) {
    Markup about = Markup::text(result.step->title);
    if (!result.step->caution.empty())
        about += element("p.caution-said", element("b", "Caution. ") + Markup::text(result.step->caution));
    if (!result.step->text.empty()) about += element("p.note", result.step->text);
    if (result.repeats > 0)
        about +=
            element("p.note", fmt::format("Repeated {} {}", result.repeats, result.repeats == 1 ? "time" : "times"));
    for (const std::string& reason : result.held) about += element("p.note", "Held: " + reason);
    if (result.state == StepState::waived)
        about += element("p", element("b.caution", "Waived: ") + Markup::text(result.note));
    else if (!result.note.empty())
        about += element("p.note", result.note);
    std::string when = "not done";
    if (result.state == StepState::done || result.state == StepState::waived)
        when = clock.utc(result.t_ns) + (result.by.empty() ? "" : ", " + result.by);
    return element("li.step",
                   joined({element("b", std::to_string(number)), element("div", about), element("span", when)}));
}

} // namespace

std::vector<ProcedureRun> procedure_runs(const Recorded& recorded) {
    std::vector<ProcedureRun> runs;
    for (const Event& event : recorded.events()) {
        const std::string_view word = what(event);
        if (event.vehicle < 0 || static_cast<std::size_t>(event.vehicle) >= recorded.setup().vehicles.size()) continue;
        if (word == "procedure_begun") {
            runs.push_back(begun(recorded, event));
            continue;
        }
        const auto run = std::ranges::find_if(runs.rbegin(), runs.rend(), [&](const ProcedureRun& each) {
            return static_cast<int>(each.vehicle) == event.vehicle && each.id == text_in(event, "procedure") &&
                   !each.ended_ns;
        });
        if (run == runs.rend()) continue;
        take_step(event, *run);
        if (word == "procedure_ended") {
            run->ended_ns = event.t_ns;
            run->verdict = text_in(event, "verdict");
            run->waived = texts_in(event, "waived");
            run->window.to_ns = event.t_ns + 1;
        }
    }
    for (ProcedureRun& run : runs)
        if (run.procedure != nullptr)
            run.checks = check_results(recorded, run.vehicle, run.procedure->checks, run.id, run.window);
    return runs;
}

std::string verdict_sentence(const ProcedureRun& run) {
    const std::string verdict = (run.verdict.empty() ? "Not ended" : capital(run.verdict)) + waived_words(run.waived);
    return run.checks.empty() ? verdict + "." : verdict + ": " + checks_sentence(run.checks);
}

Markup verdict_chapter(const ProcedureRun& run) {
    if (run.checks.empty()) return {};
    return chapter("Verdict: " + (run.verdict.empty() ? "not ended" : run.verdict) + waived_words(run.waived),
                   checks_table(run.checks));
}

Markup steps_chapter(const Recorded& recorded, const ProcedureRun& run) {
    const ReportClock clock(recorded, std::nullopt);
    Markup lines;
    for (std::size_t i = 0; i < run.steps.size(); ++i) lines += step_line(run.steps[i], i + 1, clock);
    const std::string began =
        fmt::format("Started {} UTC{}", clock.utc(run.window.from_ns), run.by.empty() ? "" : ", " + run.by);
    return chapter("Procedure", element("p.note", began) + element("ol.steps", lines));
}

} // namespace turnstone::report
