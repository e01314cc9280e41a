#pragma once
/// procedures/ID.json of a vehicle's folder: ordered steps that people confirm, and the checks that decide them.
/// Schema: protocol/schema/procedure.schema.json. A procedure commands nothing: it says what people do.
#include <string>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "server/pipeline/checklist/check.hpp"
#include "shared/json_reader.hpp"

namespace turnstone {

enum class StepKind : unsigned char {
    instruct, ///< a person does something and says so
    wait_for, ///< done by itself once its checks hold
    check,    ///< its checks are decided when it is done, whatever they say
    hold,     ///< cannot be done, only waived, while one of its must-checks does not hold
    countdown ///< done by itself at T-0 of the station's countdown
};
consteval auto words_of(StepKind) {
    return words<StepKind::countdown>("instruct", "wait_for", "check", "hold", "countdown");
}

enum class StepState : unsigned char { ahead, under_way, done, waived };
/// ", waived: Look; Weigh", behind a verdict; empty where no step was.
[[nodiscard]] std::string waived_words(const std::vector<std::string>& titles);
consteval auto words_of(StepState) {
    return words<StepState::waived>("ahead", "under_way", "done", "waived");
}

struct Step {
    std::string id;
    StepKind kind = StepKind::instruct;
    std::string title;
    std::string text;                     ///< what to do, in one or a few sentences; may be empty
    std::string caution;                  ///< shown before anything hazardous; empty: none
    std::vector<std::size_t> checks = {}; ///< places in Procedure::checks
    friend bool operator==(const Step&, const Step&) = default;
};

struct Procedure {
    std::string id; ///< the file's name without its ending
    std::string title;
    std::vector<Check> checks;
    std::vector<Step> steps;
    friend bool operator==(const Procedure&, const Procedure&) = default;
};

/// What a procedure's file may be called: [a-z0-9-], at most 40.
[[nodiscard]] bool is_procedure_id(std::string_view text) noexcept;

/// Appends every mistake to `problems`; the result is usable only if none was added.
[[nodiscard]] Procedure read_procedure(const nlohmann::json& json, std::string id, const std::string& file,
                                       std::vector<Problem>& problems);

} // namespace turnstone
