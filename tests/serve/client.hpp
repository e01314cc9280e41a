#pragma once
/// A browser's side of the port: HTTP requests and a WebSocket through Beast, which shares nothing with the server's
/// framing code.
#include <chrono>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include <nlohmann/json.hpp>

using Fields = std::vector<std::pair<std::string, std::string>>;

struct HttpReply {
    unsigned status = 0;
    Fields fields;
    std::string body;
    [[nodiscard]] std::string field(const std::string& name) const; ///< empty: none
    [[nodiscard]] nlohmann::json json() const { return nlohmann::json::parse(body); }
};

/// Addresses of this machine that count as anybody's: limits for one address hold for them, as they do not for
/// 127.0.0.1.
inline constexpr const char* kOneVisitor = "127.0.0.2";
inline constexpr const char* kOtherVisitor = "127.0.0.3";

/// One request on its own connection, from a given address if there is one; a Host field is added unless one is given.
HttpReply http_request(std::uint16_t port, const std::string& method, const std::string& target,
                       const Fields& fields = {}, const std::string& body = "", const std::string& from = "");
/// Sends the bytes as they are and returns everything that comes until the server closes (or `wait` is over).
std::string raw_exchange(std::uint16_t port, const std::string& bytes,
                         std::chrono::milliseconds wait = std::chrono::seconds(5));

/// A connection that sends what it is told and reads when it is told.
class RawClient {
  public:
    explicit RawClient(std::uint16_t port, const std::string& from = "", int receive_buffer_bytes = 0);
    ~RawClient();
    RawClient(RawClient&& other) noexcept : socket_(std::exchange(other.socket_, -1)) {}
    RawClient(const RawClient&) = delete;
    RawClient& operator=(const RawClient&) = delete;
    void send(const std::string& bytes) const;
    [[nodiscard]] std::string read_after(const std::string& request, std::size_t bytes) const {
        send(request);
        return read(bytes);
    }
    /// Up to `bytes`, fewer when the server closes or `wait` is over.
    [[nodiscard]] std::string read(std::size_t bytes, std::chrono::milliseconds wait = std::chrono::seconds(5)) const;

  private:
    int socket_;
};

class StreamClient {
  public:
    explicit StreamClient(std::uint16_t port, const Fields& fields = {}, int receive_buffer_bytes = 0,
                          const std::string& from = "");
    ~StreamClient();

    struct Message {
        bool binary = false;
        std::string bytes;
        [[nodiscard]] nlohmann::json json() const { return nlohmann::json::parse(bytes); }
        [[nodiscard]] std::string type() const; ///< "binary", or the text's "type"
    };
    /// Empty: closed (see close_code), or nothing came in time.
    std::optional<Message> next(std::chrono::milliseconds wait = std::chrono::seconds(5));
    /// Skips messages of other types.
    std::optional<Message> next_of(const std::string& type, std::chrono::milliseconds wait = std::chrono::seconds(5));
    void send(const std::string& text);
    [[nodiscard]] std::uint16_t close_code() const; ///< 0: open, or ended without a close frame
    [[nodiscard]] std::string close_reason() const;

  private:
    struct State;
    std::unique_ptr<State> state_;
};
