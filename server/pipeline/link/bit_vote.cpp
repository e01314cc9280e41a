#include "server/pipeline/link/bit_vote.hpp"

#include <bit>
#include <cstdint>
#include <cstring>

namespace turnstone {

namespace {

/// How many of the bits that are set in each byte of `mask` differ.
std::size_t distance(std::span<const std::byte> a, std::span<const std::byte> b, std::uint64_t mask) noexcept {
    std::size_t bits = 0, at = 0;
    for (; at + sizeof(std::uint64_t) <= a.size(); at += sizeof(std::uint64_t)) {
        std::uint64_t of_a = 0, of_b = 0;
        std::memcpy(&of_a, a.data() + at, sizeof of_a);
        std::memcpy(&of_b, b.data() + at, sizeof of_b);
        bits += static_cast<std::size_t>(std::popcount((of_a ^ of_b) & mask));
    }
    for (; at < a.size(); ++at)
        bits += static_cast<std::size_t>(std::popcount(std::to_integer<unsigned>(a[at] ^ b[at]) & (mask & 0xFFU)));
    return bits;
}

} // namespace

std::size_t bit_distance(std::span<const std::byte> a, std::span<const std::byte> b) noexcept {
    return distance(a, b, ~std::uint64_t{0});
}

std::size_t symbol_distance(std::span<const std::byte> a, std::span<const std::byte> b) noexcept {
    return distance(a, b, 0x8080808080808080U);
}

void vote(std::span<const std::span<const std::byte>> copies, std::span<std::byte> out) noexcept {
    for (std::size_t at = 0; at < out.size(); ++at) {
        unsigned byte = 0;
        for (unsigned bit = 1; bit < 0x100; bit <<= 1) {
            std::size_t ones = 0;
            for (const auto& copy : copies) ones += (std::to_integer<unsigned>(copy[at]) & bit) != 0 ? 1 : 0;
            if (2 * ones > copies.size()) byte |= bit;
        }
        out[at] = static_cast<std::byte>(byte);
    }
}

void mean(std::span<const std::span<const std::byte>> copies, std::span<std::byte> out) noexcept {
    for (std::size_t at = 0; at < out.size(); ++at) {
        std::size_t sum = copies.size() / 2; // rounds
        for (const auto& copy : copies) sum += std::to_integer<std::size_t>(copy[at]);
        out[at] = static_cast<std::byte>(sum / copies.size());
    }
}

} // namespace turnstone
