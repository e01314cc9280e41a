#include "server/serve/parse/flights/job_request.hpp"

#include <utility>

#include "server/serve/parse/flat_object.hpp"

namespace turnstone {

Result<JobRequest> parse_job_request(std::string_view body) {
    constexpr int kDepthMax = 8; // a control law has a schedule of gains
    auto object = parse_object(body, kDepthMax);
    if (!object) return fail("the request's body must be one JSON object, nested at most eight deep");
    auto job = needed_text(*object, "job", kNameBytesMax);
    if (!job) return tl::unexpected(job.error());
    object->erase("job");
    return JobRequest{.job = std::move(*job), .members = std::move(*object)};
}

} // namespace turnstone
