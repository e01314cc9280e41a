#pragma once
/// The body of POST /api/jobs. What a kind of job wants besides is read by whoever does it.
#include <string>
#include <string_view>

#include <nlohmann/json.hpp>

#include "shared/result.hpp"

namespace turnstone {

struct JobRequest {
    std::string job;        ///< its kind
    nlohmann::json members; ///< an object: the others
};

[[nodiscard]] Result<JobRequest> parse_job_request(std::string_view body);

} // namespace turnstone
