#pragma once
/// readiness.json of a vehicle's folder: the checks of the readiness board in groups, and the positions that are
/// polled. Schema: protocol/schema/readiness.schema.json.
#include <string>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "server/pipeline/checklist/check.hpp"
#include "shared/json_reader.hpp"

namespace turnstone {

struct CheckGroup {
    std::string title;
    std::vector<Check> checks;
    friend bool operator==(const CheckGroup&, const CheckGroup&) = default;
};

/// Somebody who says go or no-go.
struct Position {
    std::string id; ///< [a-z0-9_]; the same in several vehicles' files is the same person
    std::string title;
    friend bool operator==(const Position&, const Position&) = default;
};

struct Readiness {
    std::vector<CheckGroup> groups;
    std::vector<Position> positions;
    friend bool operator==(const Readiness&, const Readiness&) = default;
};

/// Appends every mistake to `problems`; the result is usable only if none was added.
[[nodiscard]] Readiness read_readiness(const nlohmann::json& json, const std::string& file,
                                       std::vector<Problem>& problems);

/// All checks, group after group.
[[nodiscard]] std::vector<const Check*> checks_of(const Readiness& readiness);

} // namespace turnstone
