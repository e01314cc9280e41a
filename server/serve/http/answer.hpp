#pragma once
/// An HTTP request as the routes see it, and their answer.
#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "server/serve/budgets.hpp"
#include "server/serve/parse/query.hpp"

namespace turnstone {

enum class Method : unsigned char { get, head, post, remove, other };

struct Request {
    Method method = Method::other;
    Target target;
    std::string host;
    std::string origin; ///< empty: no such header
    std::string cookie;
    std::string content_type;
    std::string accept_encoding;
    std::string if_none_match;
    std::string body;
    std::string sec_fetch_site;
    Client client;
    bool keep_alive = false;
    bool encrypted = false; ///< came by https
};

/// GET or HEAD.
[[nodiscard]] inline bool is_read(const Request& request) noexcept {
    return request.method == Method::get || request.method == Method::head;
}

/// A body that is read from the disk piece by piece while it is sent. Lives until the answer has been sent or dropped.
class FileBody {
  public:
    virtual ~FileBody() = default;
    [[nodiscard]] virtual std::uint64_t size() const = 0;
    /// False: it cannot be read any further. Called by workers, one at a time.
    [[nodiscard]] virtual bool read(std::uint64_t offset, std::span<char> into) = 0;
};

struct Answer {
    unsigned status = 200;
    std::string content_type;
    std::string body;
    std::span<const unsigned char> stored; ///< sent instead of `body` when not empty; must outlive the server
    std::shared_ptr<FileBody> file;        ///< sent instead of both when set
    bool styled_page = false;              ///< a page with its own styles in it, and nothing from elsewhere
    bool length_unknown = false;           ///< to HEAD: the body would have to be made first
    std::chrono::milliseconds held{0};     ///< how long it waits before it is sent
    std::vector<std::pair<std::string, std::string>> headers;
};

[[nodiscard]] Answer json_answer(const nlohmann::json& value);
[[nodiscard]] Answer error_answer(unsigned status, std::string_view message);
/// 503 with Retry-After: what was asked for is free again before long.
[[nodiscard]] Answer busy_answer(std::string_view message);
/// 405 with the methods that are allowed, e.g. "GET, HEAD".
[[nodiscard]] Answer method_answer(std::string_view allowed);

/// Status line and header fields with the security headers every answer carries, up to and with the empty line.
[[nodiscard]] std::string answer_header(const Answer& answer, std::string_view host, bool keep_alive);

} // namespace turnstone
