// Fuzz target: a mass.csv. Whatever it holds, the reader answers with weighings or with mistakes; what it took is
// written and read the same, and the totals are finite or none.
#include <cmath>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>
#include <vector>

#include "server/analysis/mass/mass_budget.hpp"
#include "server/analysis/mass/mass_record.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace turnstone::analysis;
    const std::string_view text(reinterpret_cast<const char*>(data), size); // NOLINT(*-reinterpret-cast)
    std::vector<turnstone::Problem> problems;
    const auto weighings = read_mass_csv(text, "mass.csv", problems);
    if (weighings.has_value() != problems.empty()) std::abort();
    if (!weighings) return 0;
    const std::string written = write_mass_csv(*weighings);
    const auto again = read_mass_csv(written, "mass.csv", problems);
    if (!again || write_mass_csv(*again) != written) std::abort();
    const MassBudget budget = mass_budget(*weighings);
    if (std::isinf(budget.loaded.mass_kg) || std::isinf(budget.loaded.mass_sigma_kg)) std::abort();
    return 0;
}
