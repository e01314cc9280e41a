/// A viewer's bytes: WebSocket frames in two splits must give the same messages, and every text a request or a
/// sentence.
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <span>
#include <string>
#include <vector>

#include "server/serve/parse/client_message.hpp"
#include "server/serve/parse/websocket_frame.hpp"

namespace {

std::vector<std::string> messages(std::span<const std::byte> bytes, std::size_t piece) {
    turnstone::ClientFrameReader reader;
    std::vector<std::string> out;
    const auto on_message = [&](turnstone::Opcode opcode, std::string_view payload) {
        out.push_back(std::to_string(static_cast<int>(opcode)) + std::string(payload));
        const auto parsed = turnstone::parse_client_message(payload);
        if (!parsed && parsed.error().message.empty()) std::abort();
    };
    while (!bytes.empty()) {
        const auto part = bytes.first(std::min(piece, bytes.size()));
        bytes = bytes.subspan(part.size());
        if (!reader.push(part, on_message)) {
            if (reader.problem().empty()) std::abort();
            out.emplace_back("!");
            break;
        }
    }
    return out;
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const auto bytes = std::as_bytes(std::span(data, size));
    if (messages(bytes, 1) != messages(bytes, 4096)) std::abort();
    const std::string text(reinterpret_cast<const char*>(data), size);
    const auto parsed = turnstone::parse_client_message(text);
    if (!parsed && parsed.error().message.empty()) std::abort();
    return 0;
}
