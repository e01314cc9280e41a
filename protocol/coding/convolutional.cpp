#include "protocol/coding/convolutional.hpp"

#include <algorithm>
#include <bit>
#include <cstring>

namespace turnstone {
namespace {

constexpr unsigned kFirst = 0171, kSecond = 0133; // the newest bit is the highest of seven

/// Of the newest bit and the six before it.
constexpr unsigned symbols_of(unsigned cells) noexcept {
    const auto parity = [](unsigned bits) { return static_cast<unsigned>(std::popcount(bits)) & 1U; };
    return parity(cells & kFirst) << 1U | (parity(cells & kSecond) ^ 1U);
}

// A state is the six newest bits, the newest the highest. States 2i and 2i + 1 both go to i (a zero came) and to i + 32
// (a one came). Both generators have the newest and the oldest bit, so that of the four ways two have one pair of
// symbols and two have its complement.
constexpr unsigned kPairs = kConvolutionalStates / 2;
using Flags = std::array<std::uint8_t, kPairs>;
/// 255 where the symbol from 2i to i is a one: exclusive or turns the symbol into how unlike it is.
constexpr Flags flags_of(unsigned bit) noexcept {
    Flags out{};
    for (unsigned i = 0; i < kPairs; ++i) out[i] = (symbols_of(2 * i) >> bit & 1U) != 0 ? 255 : 0;
    return out;
}
constexpr Flags kFirstFlags = flags_of(1), kSecondFlags = flags_of(0);

constexpr bool is_butterfly() noexcept {
    for (unsigned i = 0; i < kPairs; ++i) {
        const unsigned symbols = symbols_of(2 * i);
        if (symbols_of(2 * i + 1) != (symbols ^ 3U) || symbols_of(64 + 2 * i) != (symbols ^ 3U) ||
            symbols_of(64 + 2 * i + 1) != symbols)
            return false;
    }
    return true;
}
static_assert(is_butterfly());

constexpr std::uint16_t kPairMost = 2 * 255; // what two symbols can differ by
constexpr std::uint16_t kTooLarge = 32'768;  // metrics differ by less than 7 pairs: far from what 16 bits hold

} // namespace

unsigned ConvolutionalEncoder::symbols(unsigned bit) noexcept {
    register_ = register_ >> 1U | (bit & 1U) << 6U;
    return symbols_of(register_);
}

void ViterbiDecoder::restart() noexcept {
    metrics_ = {};
    held_ = 0;
}

bool ViterbiDecoder::push(SoftSymbol first, SoftSymbol second) noexcept {
    std::array<std::uint16_t, kPairs> even, odd, cost;
    for (unsigned i = 0; i < kPairs; ++i) {
        even[i] = metrics_[2 * i];
        odd[i] = metrics_[2 * i + 1];
        cost[i] = static_cast<std::uint16_t>((first ^ kFirstFlags[i]) + (second ^ kSecondFlags[i]));
    }
    std::array<std::uint8_t, kConvolutionalStates> from_odd;
    for (unsigned i = 0; i < kPairs; ++i) {
        const auto unlike = static_cast<std::uint16_t>(kPairMost - cost[i]);
        const auto zero_even = static_cast<std::uint16_t>(even[i] + cost[i]);
        const auto zero_odd = static_cast<std::uint16_t>(odd[i] + unlike);
        const auto one_even = static_cast<std::uint16_t>(even[i] + unlike);
        const auto one_odd = static_cast<std::uint16_t>(odd[i] + cost[i]);
        from_odd[i] = zero_odd < zero_even ? 1 : 0;
        from_odd[i + kPairs] = one_odd < one_even ? 1 : 0;
        metrics_[i] = std::min(zero_even, zero_odd);
        metrics_[i + kPairs] = std::min(one_even, one_odd);
    }
    std::uint64_t decisions = 0;
    for (unsigned k = 0; k < 8; ++k) {
        std::uint64_t eight = 0;
        std::memcpy(&eight, from_odd.data() + 8 * k, sizeof eight);
        // Gathers the lowest bits of eight bytes into the highest byte.
        decisions |= (eight * 0x0102040810204080ULL >> 56U) << 8U * k;
    }
    decisions_[held_++] = decisions;
    if (metrics_[0] >= kTooLarge) {
        const std::uint16_t least = *std::ranges::min_element(metrics_);
        for (std::uint16_t& metric : metrics_) metric = static_cast<std::uint16_t>(metric - least);
    }
    if (held_ < decisions_.size()) return false;
    trace_back();
    return true;
}

void ViterbiDecoder::trace_back() noexcept {
    auto state = static_cast<unsigned>(std::ranges::min_element(metrics_) - metrics_.begin());
    std::uint32_t bits = 0;
    for (unsigned k = held_; k-- > 0;) {
        if (k < kBits) bits |= std::uint32_t{state >> 5U} << (kBits - 1 - k);
        state = (state << 1U & 63U) | static_cast<unsigned>(decisions_[k] >> state & 1U);
    }
    bits_ = bits;
    std::memmove(decisions_.data(), decisions_.data() + kBits, kDepth * sizeof decisions_[0]);
    held_ = kDepth;
}

} // namespace turnstone
