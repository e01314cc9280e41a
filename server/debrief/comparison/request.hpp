#pragma once
/// What a comparison is asked for.
#include <string>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "shared/result.hpp"
#include "shared/words.hpp"

namespace turnstone::debrief {

/// The moment of each flight that all are laid upon.
enum class Alignment : unsigned char { liftoff, burnout, apogee, drogue_out };
consteval auto words_of(Alignment) {
    return words<Alignment::drogue_out>("liftoff", "burnout", "apogee", "drogue_out");
}

struct CompareRequest {
    std::vector<std::string> flights; ///< ids, in the order in which they are called A, B, C
    Alignment align = Alignment::liftoff;
    bool prediction = true; ///< with what was predicted on the rail
};

/// A page can draw no more, and an answer of this many stays below some megabytes.
inline constexpr std::size_t kComparedMax = 40;

/// {"flights":[ID…],"align":"liftoff","prediction":bool}; the last two may be left out.
[[nodiscard]] Result<CompareRequest> parse_compare_request(const nlohmann::json& json);

} // namespace turnstone::debrief
