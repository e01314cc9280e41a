#include "server/serve/parse/websocket_frame.hpp"

#include <algorithm>

#include "server/serve/parse/utf8.hpp"

namespace turnstone {
namespace {

constexpr unsigned char kFinal = 0x80;
constexpr unsigned char kReserved = 0x70;
constexpr unsigned char kMasked = 0x80;
constexpr std::size_t kControlPayloadMax = 125; // RFC 6455 section 5.5

unsigned char number_of(char c) {
    return static_cast<unsigned char>(c);
}

bool is_control(Opcode opcode) {
    return (static_cast<unsigned>(opcode) & 8u) != 0;
}

} // namespace

std::string frame_header(Opcode opcode, std::size_t payload_size) {
    std::string header;
    header.push_back(static_cast<char>(kFinal | static_cast<unsigned char>(opcode)));
    const auto put_size = [&](unsigned bytes) {
        for (unsigned i = bytes; i-- > 0;) header.push_back(static_cast<char>((payload_size >> (8 * i)) & 0xff));
    };
    if (payload_size < 126) {
        put_size(1);
    } else if (payload_size <= 0xffff) {
        header.push_back(126);
        put_size(2);
    } else {
        header.push_back(127);
        put_size(8);
    }
    return header;
}

WireMessage frame_message(Opcode opcode, std::string_view payload) {
    auto message = std::make_shared<std::string>(frame_header(opcode, payload.size()));
    message->append(payload);
    return message;
}

WireMessage close_message(CloseCode code, std::string_view reason) {
    const auto number = static_cast<unsigned>(code);
    std::string payload{static_cast<char>(number >> 8), static_cast<char>(number & 0xff)};
    payload.append(reason.substr(0, kControlPayloadMax - 2));
    return frame_message(Opcode::close, payload);
}

bool ClientFrameReader::refuse(std::string_view problem, CloseCode code) noexcept {
    problem_ = problem;
    problem_code_ = code;
    return false;
}

bool ClientFrameReader::take_header() {
    const unsigned char first = number_of(header_[0]);
    const unsigned char second = number_of(header_[1]);
    const unsigned size_7 = second & 0x7fu;
    header_size_ = 2u + (size_7 == 126 ? 2u : size_7 == 127 ? 8u : 0u) + 4u;
    if ((first & kReserved) != 0) return refuse("a reserved bit is set, but no extension was agreed");
    if ((second & kMasked) == 0) return refuse("a client's frame must be masked (RFC 6455 section 5.1)");
    opcode_ = static_cast<Opcode>(first & 0x0f);
    final_ = (first & kFinal) != 0;
    if (header_.size() < header_size_) return true;

    std::uint64_t size = size_7;
    if (size_7 >= 126) {
        size = 0;
        for (std::size_t i = 2; i < header_size_ - 4; ++i) size = (size << 8) | number_of(header_[i]);
        if (size < (size_7 == 126 ? 126u : 65536u))
            return refuse("a frame's length is not in its shortest form (RFC 6455 section 5.2)");
    }
    if (is_control(opcode_)) {
        if (opcode_ != Opcode::close && opcode_ != Opcode::ping && opcode_ != Opcode::pong)
            return refuse("unknown frame type");
        if (!final_ || size > kControlPayloadMax)
            return refuse("a control frame must not be fragmented and has at most 125 bytes");
        control_.clear();
    } else {
        if (opcode_ != Opcode::continuation && opcode_ != Opcode::text && opcode_ != Opcode::binary)
            return refuse("unknown frame type");
        if ((opcode_ == Opcode::continuation) != (message_opcode_ != Opcode::continuation))
            return refuse("message fragments out of order");
        if (size > kClientTextBytesMax - message_.size()) return refuse("a message may have at most 4096 bytes");
        if (opcode_ != Opcode::continuation) message_opcode_ = opcode_;
    }
    payload_left_ = static_cast<std::size_t>(size);
    mask_at_ = 0;
    in_payload_ = true;
    return true;
}

bool ClientFrameReader::finish_frame(const OnMessage& on_message) {
    in_payload_ = false;
    if (is_control(opcode_)) {
        if (opcode_ == Opcode::close && control_.size() == 1) return refuse("a close code has two bytes");
        if (opcode_ == Opcode::close && !control_.empty() && !is_utf8(std::string_view(control_).substr(2)))
            return refuse("a close reason is UTF-8 (RFC 6455 section 5.5.1)", CloseCode::not_utf8);
        on_message(opcode_, control_);
    } else if (final_) {
        if (message_opcode_ == Opcode::text && !is_utf8(message_))
            return refuse("a text message is UTF-8 (RFC 6455 section 8.1)", CloseCode::not_utf8);
        on_message(message_opcode_, message_);
        message_.clear();
        message_opcode_ = Opcode::continuation;
    }
    header_.clear();
    header_size_ = 2;
    return true;
}

bool ClientFrameReader::push(std::span<const std::byte> bytes, const OnMessage& on_message) {
    if (!problem_.empty()) return false;
    std::size_t at = 0;
    while (at < bytes.size()) {
        if (!in_payload_) {
            header_.push_back(static_cast<char>(bytes[at++]));
            if (header_.size() < header_size_) continue;
            if (!take_header()) return false;
            if (in_payload_ && payload_left_ == 0 && !finish_frame(on_message)) return false;
            continue;
        }
        std::string& target = is_control(opcode_) ? control_ : message_;
        const std::string_view key = std::string_view(header_).substr(header_size_ - 4);
        const std::size_t count = std::min(payload_left_, bytes.size() - at);
        for (std::size_t i = 0; i < count; ++i, ++mask_at_)
            target.push_back(
                static_cast<char>(number_of(static_cast<char>(bytes[at + i])) ^ number_of(key[mask_at_ % 4])));
        at += count;
        payload_left_ -= count;
        if (payload_left_ == 0 && !finish_frame(on_message)) return false;
    }
    return true;
}

} // namespace turnstone
