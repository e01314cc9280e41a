#include "server/pipeline/checklist/procedure.hpp"

#include <algorithm>
#include <set>
#include <utility>

#include <nlohmann/json.hpp>

#include "server/pipeline/checklist/check_reader.hpp"

namespace turnstone {

namespace {

constexpr std::size_t kStepsMax = 64;

/// Whether a step of this kind is decided by checks.
bool is_decided_by_checks(StepKind kind) {
    return kind == StepKind::wait_for || kind == StepKind::check;
}

Step read_step(JsonReader in, std::set<std::string>& taken, const std::vector<Check>& checks,
               std::vector<std::string>& step_of_check) {
    Step out;
    out.id = unique_name(in, "id", taken);
    out.kind = static_cast<StepKind>(in.choice("kind", {kWords<StepKind>.begin(), kWords<StepKind>.end()}));
    out.title = in.text("title");
    out.text = in.text_or("text", "");
    out.caution = in.text_or("caution", "");
    for (JsonReader& each : in.array_if("checks", kChecksMax)) {
        const std::string id = each.as_text();
        const auto found = std::ranges::find(checks, id, &Check::id);
        if (found == checks.end()) {
            if (!id.empty())
                each.problem("names the check \"" + id + "\", which the file does not have",
                             "give the id of one of \"checks\"");
            continue;
        }
        const auto place = static_cast<std::size_t>(found - checks.begin());
        if (!step_of_check[place].empty())
            each.problem("\"" + id + "\" is also of step \"" + step_of_check[place] + "\"",
                         "a check is decided by one step: give each step a check of its own");
        step_of_check[place] = out.id.empty() ? "?" : out.id;
        out.checks.push_back(place);
    }
    if (out.checks.empty() && is_decided_by_checks(out.kind))
        in.problem("has no checks", "a step of the kind " + std::string(word(out.kind)) + " needs at least one");
    if (!out.checks.empty() && (out.kind == StepKind::instruct || out.kind == StepKind::countdown))
        in.problem_at("checks", "belong to a step of the kind " + std::string(word(out.kind)),
                      "a person alone decides it: use check, wait_for or hold");
    in.finish();
    return out;
}

} // namespace

bool is_procedure_id(std::string_view text) noexcept {
    return !text.empty() && text.size() <= 40 &&
           std::ranges::all_of(
               text, [](char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-'; });
}

Procedure read_procedure(const nlohmann::json& json, std::string id, const std::string& file,
                         std::vector<Problem>& problems) {
    Procedure out{.id = std::move(id), .title = {}, .checks = {}, .steps = {}};
    JsonReader in(json, file, problems);
    if (!in.is_object()) {
        in.problem("is not an object", "give title, checks and steps");
        return out;
    }
    in.ignore("$schema");
    out.title = in.text("title");
    std::vector<JsonReader> checks = in.array_if("checks", kChecksMax);
    std::set<std::string> taken;
    for (const JsonReader& each : checks) out.checks.push_back(read_check(each, taken));
    std::vector<Check*> all;
    for (Check& check : out.checks) all.push_back(&check);
    find_statements(checks, all);
    std::vector<std::string> step_of_check(out.checks.size());
    taken.clear();
    for (const JsonReader& each : in.array("steps", 1, kStepsMax))
        out.steps.push_back(read_step(each, taken, out.checks, step_of_check));
    for (std::size_t k = 0; k < checks.size(); ++k)
        if (step_of_check[k].empty())
            checks[k].problem("is of no step, so that nothing ever decides it",
                              "name \"" + out.checks[k].id + "\" in the \"checks\" of a step");
    in.finish();
    return out;
}

std::string waived_words(const std::vector<std::string>& titles) {
    std::string out;
    for (const std::string& title : titles) out += (out.empty() ? ", waived: " : "; ") + title;
    return out;
}

} // namespace turnstone
