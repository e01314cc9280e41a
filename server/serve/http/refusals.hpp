#pragma once
/// Refusals that several routes share.
#include <optional>

#include "server/serve/http/answer.hpp"

namespace turnstone {

/// Common to all requests with a body. Empty: go on.
[[nodiscard]] inline std::optional<Answer> refuse_body(const Request& request) {
    if (const auto allowed = allow_parameters(request.target, {}); !allowed)
        return error_answer(400, allowed.error().message);
    if (!request.content_type.starts_with("application/json"))
        return error_answer(415, "send the request's body as 'Content-Type: application/json'");
    return std::nullopt;
}

[[nodiscard]] inline Answer needs_operator() {
    return error_answer(403, "only the operator may do this; unlock with the key printed when the server started");
}

} // namespace turnstone
