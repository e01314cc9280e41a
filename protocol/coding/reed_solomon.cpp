#include "protocol/coding/reed_solomon.hpp"

#include <algorithm>
#include <cstring>

namespace turnstone {
namespace {

constexpr unsigned kField = 0x187;
constexpr unsigned kOrder = 255; // of the field's multiplicative group
constexpr unsigned kStep = 11;   // the code is built on alpha^11, whose powers are all of the field too
constexpr unsigned kDualStep = 117;

struct GaloisField {
    std::array<std::uint8_t, 2 * kOrder> power{}; ///< entry k: beta^k with beta = alpha^11
    std::array<std::uint8_t, 256> log{};          ///< to base beta; of zero meaningless
};

constexpr std::array<std::uint8_t, kOrder> kAlpha = [] {
    std::array<std::uint8_t, kOrder> out{};
    unsigned value = 1;
    for (std::uint8_t& each : out) {
        each = static_cast<std::uint8_t>(value);
        value <<= 1U;
        if ((value & 0x100U) != 0) value ^= kField;
    }
    return out;
}();

constexpr GaloisField kGf = [] {
    GaloisField out;
    for (unsigned k = 0; k < kOrder; ++k) {
        const std::uint8_t value = kAlpha[k * kStep % kOrder];
        out.power[k] = out.power[k + kOrder] = value;
        out.log[value] = static_cast<std::uint8_t>(k);
    }
    return out;
}();

constexpr std::uint8_t times(std::uint8_t a, std::uint8_t b) noexcept {
    return a == 0 || b == 0 ? std::uint8_t{0} : kGf.power[std::size_t{kGf.log[a]} + kGf.log[b]];
}
/// `a` times beta^k, k below 255.
constexpr std::uint8_t times_power(std::uint8_t a, unsigned k) noexcept {
    return a == 0 ? std::uint8_t{0} : kGf.power[std::size_t{kGf.log[a]} + k];
}
constexpr std::uint8_t inverse(std::uint8_t a) noexcept {
    return kGf.power[kOrder - kGf.log[a]];
}

constexpr bool trace(std::uint8_t value) noexcept {
    std::uint8_t sum = 0;
    for (unsigned k = 0; k < 8; ++k) {
        sum ^= value;
        value = times(value, value);
    }
    return sum == 1;
}

using Basis = std::array<std::byte, 256>;
/// Bit k of a symbol in the dual basis, the first sent: the trace of the symbol times alpha^(117 k).
constexpr Basis kToDual = [] {
    Basis out{};
    for (unsigned value = 0; value < out.size(); ++value) {
        unsigned bits = 0;
        for (unsigned k = 0; k < 8; ++k)
            bits =
                bits << 1U | (trace(times(static_cast<std::uint8_t>(value), kAlpha[kDualStep * k % kOrder])) ? 1U : 0U);
        out[value] = static_cast<std::byte>(bits);
    }
    return out;
}();
constexpr Basis kToConventional = [] {
    Basis out{};
    for (unsigned value = 0; value < out.size(); ++value)
        out[std::to_integer<std::size_t>(kToDual[value])] = static_cast<std::byte>(value);
    return out;
}();

void replace(std::span<std::byte> symbols, const Basis& by) noexcept {
    for (std::byte& symbol : symbols) symbol = by[std::to_integer<std::size_t>(symbol)];
}

using Polynomial = std::array<std::uint8_t, kParityBytesMax + 1>; // by ascending power

/// The shortest recursion that makes the syndromes (Berlekamp and Massey; e.g. R. Blahut, "Theory and Practice of Error
/// Control Codes", 1983, section 7.4). Returns its length.
unsigned find_locator(std::span<const std::uint8_t> syndromes, Polynomial& locator) noexcept {
    Polynomial before{};
    locator = {};
    locator[0] = before[0] = 1;
    unsigned length = 0, shift = 1;
    std::uint8_t discrepancy_before = 1;
    for (unsigned n = 0; n < syndromes.size(); ++n, ++shift) {
        std::uint8_t discrepancy = syndromes[n];
        for (unsigned k = 1; k <= length; ++k) discrepancy ^= times(locator[k], syndromes[n - k]);
        if (discrepancy == 0) continue;
        const Polynomial kept = locator;
        const std::uint8_t factor = times(discrepancy, inverse(discrepancy_before));
        for (std::size_t k = 0; k + shift < locator.size(); ++k) locator[k + shift] ^= times(factor, before[k]);
        if (2 * length > n) continue;
        length = n + 1 - length;
        before = kept;
        discrepancy_before = discrepancy;
        shift = 0;
    }
    return length;
}

} // namespace

void to_dual_basis(std::span<std::byte> symbols) noexcept {
    replace(symbols, kToDual);
}

void to_conventional_basis(std::span<std::byte> symbols) noexcept {
    replace(symbols, kToConventional);
}

ReedSolomon::ReedSolomon(unsigned correctable) : correctable_(correctable), multiples_(256) {
    // By descending power, without the highest term, which is one.
    std::vector<std::uint8_t> generator{1};
    for (unsigned j = 128 - correctable; j < 128 + correctable; ++j) {
        generator.push_back(0);
        for (std::size_t k = generator.size() - 1; k > 0; --k)
            generator[k] ^= times_power(generator[k - 1], j % kOrder);
    }
    for (unsigned value = 0; value < multiples_.size(); ++value)
        for (std::size_t k = 0; k < parity_bytes(); ++k)
            multiples_[value][k] = times(static_cast<std::uint8_t>(value), generator[k + 1]);
}

void ReedSolomon::divide(std::span<const std::byte> data, Remainder& remainder) const noexcept {
    // One place more than the parity, so that the shift is one copy.
    std::array<std::uint8_t, kParityBytesMax + 1> cells{};
    for (const std::byte symbol : data) {
        const Remainder& multiple = multiples_[std::to_integer<std::uint8_t>(symbol) ^ cells[0]];
        Remainder next;
        std::memcpy(next.data(), cells.data() + 1, next.size());
        for (std::size_t k = 0; k < next.size(); ++k) next[k] ^= multiple[k];
        std::memcpy(cells.data(), next.data(), next.size());
    }
    std::memcpy(remainder.data(), cells.data(), remainder.size());
}

void ReedSolomon::encode(std::span<const std::byte> data, std::span<std::byte> parity) const noexcept {
    Remainder remainder;
    divide(data, remainder);
    std::memcpy(parity.data(), remainder.data(), parity_bytes());
}

std::optional<unsigned> ReedSolomon::correct(std::span<std::byte> codeword) const noexcept {
    const std::size_t parity = parity_bytes();
    Remainder remainder;
    divide(codeword.first(codeword.size() - parity), remainder);
    bool any = false;
    for (std::size_t k = 0; k < parity; ++k) {
        remainder[k] ^= std::to_integer<std::uint8_t>(codeword[codeword.size() - parity + k]);
        any = any || remainder[k] != 0;
    }
    if (!any) return 0;
    // What is left has the same values at the generator's roots as the codeword.
    std::array<std::uint8_t, kParityBytesMax> syndromes{};
    for (unsigned j = 0; j < parity; ++j)
        for (std::size_t k = 0; k < parity; ++k)
            syndromes[j] =
                static_cast<std::uint8_t>(times_power(syndromes[j], (128 - correctable_ + j) % kOrder) ^ remainder[k]);
    Polynomial locator;
    const unsigned errors = find_locator(std::span(syndromes).first(parity), locator);
    if (errors > correctable_) return std::nullopt;
    Polynomial evaluator{}; // syndromes times locator, modulo x^parity
    for (std::size_t k = 0; k < parity; ++k)
        for (std::size_t i = 0; i <= std::min<std::size_t>(k, errors); ++i)
            evaluator[k] ^= times(locator[i], syndromes[k - i]);
    // An error at power p has the locator's root at beta^-p; its value by Forney's formula.
    std::array<std::uint8_t, kParityBytesMax / 2> values{};
    std::array<std::size_t, kParityBytesMax / 2> places{};
    unsigned found = 0;
    for (unsigned p = 0; p < codeword.size() && found < errors; ++p) {
        const unsigned back = (kOrder - p) % kOrder;
        std::uint8_t at_root = 0, slope = 0, value = 0;
        for (unsigned k = 0; k <= errors; ++k) {
            const std::uint8_t term = times_power(locator[k], back * k % kOrder);
            at_root ^= term;
            if (k % 2 == 1) slope ^= term; // times the root
        }
        if (at_root != 0 || slope == 0) continue;
        for (unsigned k = 0; k < parity; ++k) value ^= times_power(evaluator[k], back * k % kOrder);
        // Slope is root * derivative, so that the root's own power joins that of the first syndrome.
        const unsigned first = 128 - correctable_;
        values[found] = times_power(times(value, inverse(slope)), back * first % kOrder);
        places[found] = codeword.size() - 1 - p;
        ++found;
    }
    if (found != errors) return std::nullopt;
    for (unsigned k = 0; k < found; ++k) codeword[places[k]] ^= static_cast<std::byte>(values[k]);
    return found;
}

} // namespace turnstone
