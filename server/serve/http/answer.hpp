#pragma once
/// An HTTP request as the routes see it, and their answer.
#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "server/serve/parse/query.hpp"

namespace turnstone {

enum class Method : unsigned char { get, head, post, other };

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
    std::string remote_address;
    bool keep_alive = false;
};

/// GET or HEAD.
[[nodiscard]] inline bool is_read(const Request& request) noexcept {
    return request.method == Method::get || request.method == Method::head;
}

/// A file without a name in its folder: it is gone when the last owner closes it.
class OpenFile {
  public:
    explicit OpenFile(int descriptor) noexcept : descriptor_(descriptor) {}
    ~OpenFile();
    OpenFile(const OpenFile&) = delete;
    OpenFile& operator=(const OpenFile&) = delete;
    [[nodiscard]] int descriptor() const noexcept { return descriptor_; }

  private:
    int descriptor_;
};

struct Answer {
    unsigned status = 200;
    std::string content_type;
    std::string body;
    std::span<const unsigned char> stored; ///< sent instead of `body` when not empty; must outlive the server
    std::shared_ptr<OpenFile> file;        ///< sent instead of both when set
    std::uint64_t file_bytes = 0;
    std::vector<std::pair<std::string, std::string>> headers;
};

[[nodiscard]] Answer json_answer(const nlohmann::json& value);
[[nodiscard]] Answer error_answer(unsigned status, std::string_view message);
/// 405 with the methods that are allowed, e.g. "GET, HEAD".
[[nodiscard]] Answer method_answer(std::string_view allowed);

/// Status line and header fields with the security headers every answer carries, up to and with the empty line.
[[nodiscard]] std::string answer_header(const Answer& answer, std::string_view host, bool keep_alive);

} // namespace turnstone
