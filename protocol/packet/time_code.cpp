#include "protocol/packet/time_code.hpp"

#include <cmath>

namespace turnstone {
namespace {

constexpr std::uint64_t kNsInMs = 1'000'000;
constexpr std::uint64_t kNsInS = 1'000'000'000;

} // namespace

double TimeCode::rollover_ns() const noexcept {
    return kind == Kind::u32_ms ? std::ldexp(1e6, 32) : std::ldexp(1e9, static_cast<int>(8 * coarse_octets));
}

std::uint64_t decode_time_ns(const TimeCode& code, std::span<const std::byte> octets) noexcept {
    if (code.kind == TimeCode::Kind::u32_ms)
        return kNsInMs * (std::to_integer<std::uint64_t>(octets[0]) << 24U |
                          std::to_integer<std::uint64_t>(octets[1]) << 16U |
                          std::to_integer<std::uint64_t>(octets[2]) << 8U | std::to_integer<std::uint64_t>(octets[3]));
    std::uint64_t counter = 0;
    for (std::size_t i = 0; i < code.octets(); ++i) counter = counter << 8U | std::to_integer<std::uint64_t>(octets[i]);
    const unsigned fine_bits = 8 * code.fine_octets;
    const std::uint64_t fine = counter & ((1ULL << fine_bits) - 1);
    const std::uint64_t half = fine_bits == 0 ? 0 : 1ULL << (fine_bits - 1);
    return (counter >> fine_bits) * kNsInS + ((fine * kNsInS + half) >> fine_bits);
}

std::array<std::byte, kTimeCodeOctetsMax> encode_time_ns(const TimeCode& code, std::uint64_t ns) noexcept {
    std::uint64_t counter = 0;
    if (code.kind == TimeCode::Kind::u32_ms) {
        counter = (ns + kNsInMs / 2) / kNsInMs;
    } else {
        const unsigned fine_bits = 8 * code.fine_octets;
        counter = (ns / kNsInS << fine_bits) + (((ns % kNsInS << fine_bits) + kNsInS / 2) / kNsInS);
    }
    std::array<std::byte, kTimeCodeOctetsMax> octets{};
    for (std::size_t i = code.octets(); i-- > 0; counter >>= 8U) octets[i] = static_cast<std::byte>(counter & 0xFFU);
    return octets;
}

} // namespace turnstone
