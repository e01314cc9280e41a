#include "server/serve/http/flights/job_routes.hpp"

#include <algorithm>
#include <utility>

#include <nlohmann/json.hpp>

#include "server/serve/http/flights/job_kinds.hpp"
#include "server/serve/http/refusals.hpp"
#include "server/serve/parse/flights/job_request.hpp"

namespace turnstone {

namespace {

Answer no_such_job(const std::string& id) {
    return error_answer(404, "there is no job '" + id.substr(0, 20) + "'; results are kept for ten minutes");
}

} // namespace

Answer JobRoutes::begin(const Request& request) {
    if (request.method != Method::post) return method_answer("POST");
    if (auto refused = refuse_body(request)) return std::move(*refused);
    auto asked = parse_job_request(request.body);
    if (!asked) return error_answer(400, asked.error().message);
    const auto kinds = job_kinds();
    const auto kind = std::ranges::find(kinds, asked->job, &JobKind::name);
    if (kind == kinds.end()) {
        std::string names;
        for (const JobKind& known : kinds) names += (names.empty() ? "" : ", ") + std::string(known.name);
        return error_answer(400, "member 'job' must be one of " + names);
    }
    if (kind->operator_only && !request.client.is_operator) return needs_operator();
    const auto id = jobs_.begin(*kind, request.client, std::move(asked->members));
    if (!id) return busy_answer(id.error().message);
    Answer answer = json_answer({{"id", *id}});
    answer.status = 202;
    return answer;
}

Answer JobRoutes::one(const Request& request) {
    if (const auto allowed = allow_parameters(request.target, {}); !allowed)
        return error_answer(400, allowed.error().message);
    const std::string& id = request.target.segments[2];
    if (is_read(request)) return look(id);
    if (request.method != Method::remove) return method_answer("GET, HEAD, DELETE");
    switch (jobs_.stop(id, request.client)) {
    case Jobs::StopVerdict::unknown: return no_such_job(id);
    case Jobs::StopVerdict::of_another:
        return error_answer(403, "somebody else asked for this job; only they and the operator may stop it");
    case Jobs::StopVerdict::stopped: break;
    }
    return json_answer(nlohmann::json::object());
}

Answer JobRoutes::look(const std::string& id) {
    const auto job = jobs_.look(id);
    if (!job) return no_such_job(id);
    Answer answer = json_answer({{"id", job->id},
                                 {"job", job->kind},
                                 {"state", word(job->state)},
                                 {"fraction", job->fraction},
                                 {"error", job->error}});
    // The result is JSON already, and may be large.
    answer.body.back() = ',';
    answer.body += "\"result\":" + (job->result ? *job->result : std::string("null")) + "}";
    return answer;
}

} // namespace turnstone
