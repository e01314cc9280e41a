#include "protocol/framing/cobs.hpp"

#include <algorithm>
#include <cstring>

namespace turnstone {
namespace {

constexpr std::size_t kBlockMax = 254; ///< data bytes after the code byte 0xFF

/// Most blocks of telemetry are shorter than this: one copy of fixed size beats a call that looks at the length.
constexpr std::size_t kShortCopy = 16;

} // namespace

CobsResult cobs_decode(std::span<const std::byte> encoded, std::span<std::byte> decoded) noexcept {
    const void* zero = encoded.empty() ? nullptr : std::memchr(encoded.data(), 0, encoded.size());
    if (zero == nullptr) return cobs_decode_nonzero(encoded, decoded);
    const auto size = static_cast<std::size_t>(static_cast<const std::byte*>(zero) - encoded.data());
    CobsResult result = cobs_decode_nonzero(encoded.first(size), decoded);
    if (result.status != CobsStatus::no_room) result.status = CobsStatus::zero_inside;
    return result;
}

CobsResult cobs_decode_nonzero(std::span<const std::byte> encoded, std::span<std::byte> decoded) noexcept {
    const std::byte* const begin = encoded.data();
    const std::byte* const end = begin + encoded.size();
    const std::byte* from = begin;
    std::byte* to = decoded.data();
    std::byte* const to_end = to + decoded.size();
    const auto result = [&](CobsStatus status) {
        return CobsResult{status, static_cast<std::size_t>(from - begin),
                          static_cast<std::size_t>(to - decoded.data())};
    };
    while (from != end) {
        const auto code = std::to_integer<std::size_t>(*from);
        std::size_t size = code - 1;
        const auto available = static_cast<std::size_t>(end - from) - 1;
        const auto room = static_cast<std::size_t>(to_end - to);
        if (size <= kShortCopy && available >= kShortCopy && room > kShortCopy) {
            std::memcpy(to, from + 1, kShortCopy);
        } else {
            const bool cut_short = size > available;
            size = std::min(size, available);
            const bool ends_in_zero = !cut_short && code != 0xFF && size != available;
            if (room < size + (ends_in_zero ? 1 : 0)) {
                size = std::min(size, room);
                std::memcpy(to, from + 1, size);
                from += 1 + size;
                to += size;
                return result(CobsStatus::no_room);
            }
            if (size != 0) std::memcpy(to, from + 1, size);
            if (cut_short) {
                from += 1 + size;
                to += size;
                return result(CobsStatus::cut_short);
            }
        }
        from += 1 + size;
        to += size;
        if (code != 0xFF && from != end) *to++ = std::byte{0};
    }
    return result(CobsStatus::complete);
}

CobsResult cobs_encode(std::span<const std::byte> plain, std::span<std::byte> encoded) noexcept {
    std::size_t read = 0;
    std::size_t write = 0;
    while (true) {
        const std::size_t left = plain.size() - read;
        const std::size_t window = std::min(left, kBlockMax);
        const void* zero = window == 0 ? nullptr : std::memchr(plain.data() + read, 0, window);
        const std::size_t size =
            zero != nullptr ? static_cast<std::size_t>(static_cast<const std::byte*>(zero) - (plain.data() + read))
                            : window;
        if (encoded.size() - write < size + 1) return {CobsStatus::no_room, read, write};
        if (size != 0) std::memmove(encoded.data() + write + 1, plain.data() + read, size);
        encoded[write] = static_cast<std::byte>(size + 1);
        write += size + 1;
        read += size;
        if (zero != nullptr)
            ++read; // the zero itself is carried by the code byte; another block always follows it
        else if (read == plain.size())
            return {CobsStatus::complete, read, write};
    }
}

} // namespace turnstone
