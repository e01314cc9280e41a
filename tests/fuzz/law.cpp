// Fuzz target: a control law. Whatever it holds, the reader answers with a law or with mistakes; a law's margins and
// its commands along a short record are finite or none, and its commands within its limits.
#include <cmath>
#include <cstdint>
#include <cstdlib>
#include <string_view>
#include <vector>

#include <nlohmann/json.hpp>

#include "server/analysis/guidance/shadow.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace turnstone;
    const std::string_view text(reinterpret_cast<const char*>(data), size); // NOLINT(*-reinterpret-cast)
    std::vector<Problem> problems;
    const auto json = parse_json_text(text, "law.json", problems);
    if (!json) return 0;
    const analysis::Law law = analysis::read_law(*json, "law.json", problems);
    if (!problems.empty()) return 0;
    std::vector<double> t_s, rate, q_pa, speed_mps;
    for (int i = 0; i < 50; ++i) {
        t_s.push_back(0.02 * i);
        rate.push_back(i % 7 - 3);
        q_pa.push_back(20000 - 300.0 * i);
        speed_mps.push_back(180 - i);
    }
    const analysis::ShadowRun run = analysis::run_shadow(law, {t_s, rate, q_pa, speed_mps});
    for (const double command : run.limited_rad)
        if (!(std::abs(command) <= law.limit_rad)) std::abort();
    const analysis::Margins margins = analysis::loop_margins(law, law.factor_at(15000), {-2, 90, 0, 0.03, 0.02});
    if (std::isinf(margins.phase_rad) || std::isinf(margins.delay_s)) std::abort();
    return 0;
}
