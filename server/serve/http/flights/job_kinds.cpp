#include "server/serve/http/flights/job_kinds.hpp"

#include <vector>

#include "server/exchange/import/import_job.hpp"

namespace turnstone {

std::span<const JobKind> job_kinds() {
    // Name, for operators only, function. One line a kind.
    static const std::vector<JobKind> kinds{
        {"import", true, exchange::run_import_job},
    };
    return kinds;
}

} // namespace turnstone
