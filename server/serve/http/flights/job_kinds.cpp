#include "server/serve/http/flights/job_kinds.hpp"

#include <vector>

#include "server/debrief/comparison/comparison.hpp"
#include "server/debrief/performance/performance.hpp"
#include "server/debrief/response/control_response.hpp"
#include "server/debrief/response/guidance_shadow.hpp"
#include "server/debrief/smoothing/smooth.hpp"
#include "server/exchange/import/import_job.hpp"

namespace turnstone {

std::span<const JobKind> job_kinds() {
    // Name, for operators only, function. One line a kind.
    static const std::vector<JobKind> kinds{
        {"import", true, exchange::run_import_job},
        {"compare", false, debrief::compare_job},
        {"smooth", false, debrief::smooth},
        {"performance", false, debrief::performance},
        {"response", false, debrief::control_response},
        {"shadow", false, debrief::guidance_shadow},
    };
    return kinds;
}

} // namespace turnstone
