#include "server/serve/http/join_routes.hpp"

#include <algorithm>

#include <nlohmann/json.hpp>

#include "server/serve/join_code.hpp"

namespace turnstone {

Answer JoinRoutes::list(const Request& request) const {
    if (const auto allowed = allow_parameters(request.target, {}); !allowed)
        return error_answer(400, allowed.error().message);
    nlohmann::json addresses = nlohmann::json::array();
    for (const std::string& address : addresses_())
        addresses.push_back(
            {{"address", address}, {"link", join_link(address)}, {"encrypted", address.starts_with("https:")}});
    return json_answer({{"addresses", std::move(addresses)}});
}

Answer JoinRoutes::code(const Request& request) const {
    if (const auto allowed = allow_parameters(request.target, {"address"}); !allowed)
        return error_answer(400, allowed.error().message);
    const std::vector<std::string> addresses = addresses_();
    const auto wanted = text_parameter(request.target, "address");
    if (!wanted || std::ranges::find(addresses, *wanted) == addresses.end())
        return error_answer(404, "the station has no such address; /api/join lists those it has");
    Answer answer;
    answer.content_type = "image/svg+xml";
    answer.body = qr_svg(join_link(*wanted));
    return answer;
}

} // namespace turnstone
