#include "protocol/packet/time_code.hpp"

#include <cmath>

#include "shared/time.hpp"

namespace turnstone {
namespace {

constexpr auto kNsInMs = static_cast<std::uint64_t>(kNsPerMs);
constexpr auto kNsInS = static_cast<std::uint64_t>(kNsPerS);

} // namespace

double TimeCode::rollover_ns() const noexcept {
    return kind == Kind::u32_ms ? std::ldexp(1e6, 32) : std::ldexp(1e9, static_cast<int>(8 * coarse_bytes));
}

std::uint64_t decode_time_ns(const TimeCode& code, std::span<const std::byte> bytes) noexcept {
    if (code.kind == TimeCode::Kind::u32_ms)
        return kNsInMs * (std::to_integer<std::uint64_t>(bytes[0]) << 24U |
                          std::to_integer<std::uint64_t>(bytes[1]) << 16U |
                          std::to_integer<std::uint64_t>(bytes[2]) << 8U | std::to_integer<std::uint64_t>(bytes[3]));
    std::uint64_t counter = 0;
    for (std::size_t i = 0; i < code.bytes(); ++i) counter = counter << 8U | std::to_integer<std::uint64_t>(bytes[i]);
    const unsigned fine_bits = 8 * code.fine_bytes;
    const std::uint64_t fine = counter & ((1ULL << fine_bits) - 1);
    const std::uint64_t half = fine_bits == 0 ? 0 : 1ULL << (fine_bits - 1);
    return (counter >> fine_bits) * kNsInS + ((fine * kNsInS + half) >> fine_bits);
}

std::array<std::byte, kTimeCodeBytesMax> encode_time_ns(const TimeCode& code, std::uint64_t ns) noexcept {
    std::uint64_t counter = 0;
    if (code.kind == TimeCode::Kind::u32_ms) {
        counter = (ns + kNsInMs / 2) / kNsInMs;
    } else {
        const unsigned fine_bits = 8 * code.fine_bytes;
        counter = (ns / kNsInS << fine_bits) + (((ns % kNsInS << fine_bits) + kNsInS / 2) / kNsInS);
    }
    std::array<std::byte, kTimeCodeBytesMax> bytes{};
    for (std::size_t i = code.bytes(); i-- > 0; counter >>= 8U) bytes[i] = static_cast<std::byte>(counter & 0xFFU);
    return bytes;
}

} // namespace turnstone
