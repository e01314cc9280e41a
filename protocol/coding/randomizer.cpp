#include "protocol/coding/randomizer.hpp"

#include <algorithm>
#include <array>

namespace turnstone {
namespace {

/// 255 bits eight times over: a whole number of bytes.
constexpr std::size_t kPeriodBytes = 255;

constexpr std::array<std::byte, kPeriodBytes> kSequence = [] {
    std::array<std::byte, kPeriodBytes> out{};
    unsigned cells = 0xFF; // the oldest bit, which is put out, is the highest
    for (std::byte& byte : out) {
        unsigned value = 0;
        for (unsigned bit = 0; bit < 8; ++bit) {
            value = value << 1U | cells >> 7U;
            const unsigned next = (cells >> 7U ^ cells >> 4U ^ cells >> 2U ^ cells) & 1U;
            cells = (cells << 1U | next) & 0xFFU;
        }
        byte = static_cast<std::byte>(value);
    }
    return out;
}();

} // namespace

void randomize(std::span<std::byte> block) noexcept {
    for (; !block.empty(); block = block.subspan(std::min(block.size(), kPeriodBytes)))
        for (std::size_t k = 0; k < std::min(block.size(), kPeriodBytes); ++k) block[k] ^= kSequence[k];
}

} // namespace turnstone
