#include "server/serve/http/answer.hpp"

#include <algorithm>

#include <boost/beast/http/status.hpp>
#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "server/serve/encode/messages.hpp"

namespace turnstone {

Answer json_answer(const nlohmann::json& value) {
    Answer answer;
    answer.content_type = "application/json";
    answer.body = dump(value);
    return answer;
}

Answer error_answer(unsigned status, std::string_view message) {
    Answer answer = json_answer({{"error", message}});
    answer.status = status;
    return answer;
}

Answer busy_answer(std::string_view message) {
    Answer answer = error_answer(503, message);
    answer.headers.emplace_back("Retry-After", "2");
    return answer;
}

Answer method_answer(std::string_view allowed) {
    Answer answer = error_answer(405, fmt::format("this address accepts {} only", allowed));
    answer.headers.emplace_back("Allow", allowed);
    return answer;
}

std::string answer_header(const Answer& answer, std::string_view host, bool keep_alive) {
    const std::uint64_t length = answer.file             ? answer.file->size()
                                 : answer.stored.empty() ? answer.body.size()
                                                         : answer.stored.size();
    std::string out = fmt::format(
        "HTTP/1.1 {} {}\r\n", answer.status,
        std::string_view(boost::beast::http::obsolete_reason(boost::beast::http::int_to_status(answer.status))));
    const auto field = [&](std::string_view name, std::string_view value) {
        out += fmt::format("{}: {}\r\n", name, value);
    };
    field("Server", "Turnstone");
    if (answer.status != 304 && !answer.length_unknown) field("Content-Length", fmt::format("{}", length));
    if (!answer.content_type.empty()) field("Content-Type", answer.content_type);
    bool has_cache_rule = false;
    for (const auto& [name, value] : answer.headers) {
        has_cache_rule = has_cache_rule || name == "Cache-Control";
        field(name, value);
    }
    if (!has_cache_rule) field("Cache-Control", "no-store");
    // Some browsers do not count ws: as 'self', so the stream's addresses are named. `host` is known to be ours.
    const std::string fetched = fmt::format(
        "script-src 'self'; style-src 'self'; connect-src 'self'{}; img-src 'self' data: blob:; manifest-src 'self'; "
        "worker-src 'self'",
        host.empty() ? std::string() : fmt::format(" ws://{0} wss://{0}", host));
    field("Content-Security-Policy",
          fmt::format("default-src 'none'; {}; base-uri 'none'; frame-ancestors 'none'; form-action 'none'",
                      answer.styled_page ? "style-src 'unsafe-inline'" : fetched));
    field("X-Content-Type-Options", "nosniff");
    field("Referrer-Policy", "no-referrer");
    field("Cross-Origin-Opener-Policy", "same-origin");
    field("Cross-Origin-Resource-Policy", "same-origin");
    field("Connection", keep_alive ? "keep-alive" : "close");
    out += "\r\n";
    return out;
}

} // namespace turnstone
