#include "server/pipeline/checklist/mistakes.hpp"

#include <algorithm>
#include <utility>

#include "server/pipeline/checklist/binding.hpp"

namespace turnstone {

namespace {

bool is_statement_of(const Procedure& procedure, const Check& check) {
    return check.subject == CheckSubject::statement &&
           std::ranges::any_of(
               procedure.checks,
               [&](const Check& other) { return other.subject == CheckSubject::statement && other.id == check.id; });
}

} // namespace

void find_checklist_mistakes(const PipelineSetup& setup, const Schema& schema, std::size_t vehicle,
                             const std::string& folder, std::vector<Problem>& problems) {
    const auto judge = [&](const Check& check, const std::string& file, const std::string& pointer, bool in_procedure) {
        CheckBinding binding = bind_check(check, setup, schema, vehicle);
        for (BindingMistake& mistake : binding.mistakes)
            problems.push_back(
                {file, pointer + "/" + mistake.member, std::move(mistake.wrong), std::move(mistake.right)});
        if (in_procedure && binding.from_predictions)
            problems.push_back({file, pointer, "rests on predictions, which a procedure may not",
                                "use what was measured, or put it on the readiness board"});
    };
    const VehicleSetup& of = setup.vehicles.at(vehicle);
    for (const Procedure& procedure : of.procedures)
        for (std::size_t k = 0; k < procedure.checks.size(); ++k)
            judge(procedure.checks[k], folder + "/procedures/" + procedure.id + ".json", "/checks/" + std::to_string(k),
                  true);
    if (!of.readiness) return;
    for (std::size_t g = 0; g < of.readiness->groups.size(); ++g)
        for (std::size_t k = 0; k < of.readiness->groups[g].checks.size(); ++k) {
            const Check& check = of.readiness->groups[g].checks[k];
            const std::string file = folder + "/readiness.json";
            const std::string pointer = "/groups/" + std::to_string(g) + "/checks/" + std::to_string(k);
            judge(check, file, pointer, false);
            for (const Procedure& procedure : of.procedures)
                if (is_statement_of(procedure, check))
                    problems.push_back({file, pointer + "/id",
                                        "is \"" + check.id + "\", which is a statement of procedures/" + procedure.id +
                                            ".json too: what is confirmed there would hold here",
                                        "give one of them an id of its own"});
        }
}

} // namespace turnstone
