#pragma once
/// WebSocket framing, RFC 6455 section 5, server side. The opening handshake is Beast's.
///
/// Why own framing: up to 1000 viewers get a message every 10 ms. So a message is encoded and framed once and the same
/// bytes go to every viewer, several messages in one gather write; Beast's stream frames and copies for each
/// connection. `tools/bench fanout` runs bare Beast beside it. Beast's own client is the reference of the tests, and
/// they read the examples of the RFC.
#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <span>
#include <string>
#include <string_view>

namespace turnstone {

/// A whole frame as it goes on the wire, shared and never changed.
using WireMessage = std::shared_ptr<const std::string>;

enum class Opcode : unsigned char { continuation = 0, text = 1, binary = 2, close = 8, ping = 9, pong = 10 };

/// Close codes of STREAM.md.
enum class CloseCode : std::uint16_t {
    normal = 1000,
    going_away = 1001,
    not_utf8 = 1007,
    bad_message = 4400,
    forbidden = 4403,
    too_slow = 4408,
    viewer_limit = 4503
};

inline constexpr std::size_t kClientTextBytesMax = 4096;

/// First bytes of an unmasked final frame with `payload_size` bytes of payload.
[[nodiscard]] std::string frame_header(Opcode opcode, std::size_t payload_size);
[[nodiscard]] WireMessage frame_message(Opcode opcode, std::string_view payload);
/// `reason` is cut to what a control frame holds (123 bytes).
[[nodiscard]] WireMessage close_message(CloseCode code, std::string_view reason);

/// Takes a client's bytes in any split and calls back with whole messages: text and binary put together from their
/// fragments, control frames as they come. Holds at most one message (kClientTextBytesMax) and one header.
class ClientFrameReader {
  public:
    using OnMessage = std::function<void(Opcode opcode, std::string_view payload)>;
    /// Returns false when the client broke RFC 6455 or sent too much; problem() says how, and nothing more is read.
    bool push(std::span<const std::byte> bytes, const OnMessage& on_message);
    [[nodiscard]] std::string_view problem() const noexcept { return problem_; }
    /// What to close with after a problem.
    [[nodiscard]] CloseCode problem_code() const noexcept { return problem_code_; }

  private:
    bool refuse(std::string_view problem, CloseCode code = CloseCode::bad_message) noexcept;
    bool take_header();
    bool finish_frame(const OnMessage& on_message);

    std::string header_; ///< the header so far: 2 + extended length + mask key
    std::size_t header_size_ = 2;
    bool in_payload_ = false;
    Opcode opcode_ = Opcode::continuation;
    bool final_ = false;
    std::size_t payload_left_ = 0;
    std::size_t mask_at_ = 0;
    std::string control_;                          ///< payload of a control frame
    std::string message_;                          ///< payload of the data message so far
    Opcode message_opcode_ = Opcode::continuation; ///< continuation: no message begun
    std::string_view problem_;
    CloseCode problem_code_ = CloseCode::bad_message;
};

} // namespace turnstone
