#include "protocol/space_link/channel_bits.hpp"

#include <algorithm>
#include <bit>
#include <cstring>

namespace turnstone {
namespace {

constexpr std::size_t kWordBytes = 8; // read at once from any byte on
constexpr std::size_t kKeptBytes = 2; // before the place asked for: what a slip takes back
constexpr unsigned kDecoderBytesMax = 2 * (ViterbiDecoder::kBits + ViterbiDecoder::kDepth); // of soft symbols

std::uint64_t eight_bytes(const std::byte* at) noexcept {
    std::uint64_t value = 0;
    std::memcpy(&value, at, sizeof value);
    return std::endian::native == std::endian::little ? __builtin_bswap64(value) : value;
}

constexpr std::size_t link_bytes_of(ChannelSymbols symbols, std::size_t bits) noexcept {
    switch (symbols) {
    case ChannelSymbols::bits: return bits / 8 + 1;
    case ChannelSymbols::hard: return bits / 4 + 1;
    case ChannelSymbols::soft: break;
    }
    return 2 * bits + 1;
}

} // namespace

ChannelBits::ChannelBits(ChannelSymbols symbols, std::size_t bits_max)
    : symbols_(symbols), link_(2 * (link_bytes_of(symbols, bits_max) + kDecoderBytesMax)),
      bits_(2 * (bits_max / 8 + 1) + kKeptBytes + kWordBytes + ViterbiDecoder::kBits / 8) {
    decoder_.restart();
}

std::uint64_t ChannelBits::symbols_end() const noexcept {
    return symbols_ == ChannelSymbols::hard ? 8 * link_.end() : link_.end();
}

SoftSymbol ChannelBits::symbol(std::uint64_t index) const noexcept {
    if (symbols_ == ChannelSymbols::soft) return std::to_integer<SoftSymbol>(link_[index]);
    return (std::to_integer<unsigned>(link_[index / 8]) >> (7 - index % 8) & 1U) != 0 ? 255 : 0;
}

bool ChannelBits::make_bits() noexcept {
    auto used = static_cast<std::size_t>((end_bit_ - first_bit_) / 8);
    const std::size_t room = bits_.size() - kWordBytes;
    const std::size_t before = used;
    if (!is_coded()) {
        const std::span<const std::byte> next = link_.from(next_symbol_);
        const std::size_t size = std::min(room - used, next.size());
        std::memcpy(bits_.data() + used, next.data(), size);
        next_symbol_ += size;
        used += size;
    } else {
        constexpr std::size_t kGroupBytes = ViterbiDecoder::kBits / 8;
        for (const std::uint64_t end = symbols_end(); next_symbol_ + 2 <= end && used + kGroupBytes <= room;) {
            const bool any = decoder_.push(symbol(next_symbol_), symbol(next_symbol_ + 1));
            next_symbol_ += 2;
            if (!any) continue;
            for (std::size_t k = 0; k < kGroupBytes; ++k)
                bits_[used++] = static_cast<std::byte>(decoder_.bits() >> 8 * (kGroupBytes - 1 - k) & 0xFFU);
        }
    }
    end_bit_ = first_bit_ + 8 * used;
    return used > before;
}

std::uint32_t ChannelBits::word(std::uint64_t bit) const noexcept {
    const std::uint64_t at = bit - first_bit_;
    return static_cast<std::uint32_t>(eight_bytes(bits_.data() + at / 8) << at % 8 >> 32U);
}

std::uint64_t ChannelBits::find(std::uint32_t marker, unsigned errors_most, std::uint64_t from,
                                std::uint64_t to) const noexcept {
    for (std::uint64_t bit = from; bit < to;) {
        const std::uint64_t at = bit - first_bit_;
        const std::uint64_t eight = eight_bytes(bits_.data() + at / 8);
        for (std::uint64_t k = at % 8; k < 8 && bit < to; ++k, ++bit) {
            const auto differ =
                static_cast<unsigned>(std::popcount(static_cast<std::uint32_t>(eight << k >> 32U) ^ marker));
            if (differ <= errors_most || differ >= kMarkerBits - errors_most) return bit;
        }
    }
    return to;
}

void ChannelBits::copy(std::uint64_t bit, std::span<std::byte> out) const noexcept {
    const std::uint64_t at = bit - first_bit_;
    const std::byte* from = bits_.data() + at / 8;
    const unsigned slip = at % 8;
    if (slip == 0) {
        std::memcpy(out.data(), from, out.size());
        return;
    }
    for (std::size_t k = 0; k < out.size(); ++k) out[k] = from[k] << slip | from[k + 1] >> (8 - slip);
}

std::span<const std::byte> ChannelBits::view(std::uint64_t bit, std::size_t bytes) const noexcept {
    const std::uint64_t at = bit - first_bit_;
    if (at % 8 != 0) return {};
    return std::span(bits_).subspan(static_cast<std::size_t>(at / 8), bytes);
}

void ChannelBits::copy_symbols(std::uint64_t bit, std::span<std::byte> out) const noexcept {
    std::uint64_t index = symbol_of(bit);
    for (std::byte& each : out) each = static_cast<std::byte>(symbol(index++));
}

std::uint64_t ChannelBits::link_byte(std::uint64_t bit) const noexcept {
    switch (symbols_) {
    case ChannelSymbols::bits: return bit / 8;
    case ChannelSymbols::hard: return symbol_of(bit) / 8;
    case ChannelSymbols::soft: break;
    }
    return symbol_of(bit);
}

std::uint64_t ChannelBits::first_bit_of(std::uint64_t link_byte) const noexcept {
    if (!is_coded()) return 8 * link_byte;
    const std::uint64_t symbol = symbols_ == ChannelSymbols::hard ? 8 * link_byte : link_byte;
    return symbol <= shift_ ? 0 : (symbol - shift_ + 1) / 2;
}

void ChannelBits::forget(std::uint64_t bit, std::uint64_t link_byte) noexcept {
    const auto whole = static_cast<std::size_t>((bit - first_bit_) / 8);
    if (whole > kKeptBytes) {
        const std::size_t gone = whole - kKeptBytes, used = static_cast<std::size_t>((end_bit_ - first_bit_) / 8);
        std::memmove(bits_.data(), bits_.data() + gone, used - gone);
        first_bit_ += 8 * gone;
    }
    link_.pass(static_cast<std::size_t>(link_byte - link_.offset()));
}

void ChannelBits::shift_pairs(std::uint64_t bit) noexcept {
    ++shift_;
    next_symbol_ = symbol_of(bit);
    first_bit_ = end_bit_ = bit;
    decoder_.restart();
}

unsigned ChannelBits::marker_symbol_errors(std::uint64_t bit) const noexcept {
    ConvolutionalEncoder encoder;
    unsigned errors = 0;
    for (unsigned k = 0; k < kMarkerBits; ++k) {
        const unsigned symbols = encoder.symbols(kSyncMarker >> (kMarkerBits - 1 - k) & 1U);
        if (k < kConvolutionalMemory) continue;
        const std::uint64_t first = symbol_of(bit + k);
        errors += (symbol(first) >= 128) != (symbols >= 2) ? 1 : 0;
        errors += (symbol(first + 1) >= 128) != (symbols % 2 == 1) ? 1 : 0;
    }
    return errors;
}

std::uint64_t ChannelBits::symbol_errors(std::uint64_t from, std::uint64_t to) const noexcept {
    ConvolutionalEncoder encoder;
    std::uint64_t errors = 0;
    for (std::uint64_t bit = from; bit < to; ++bit) {
        const std::uint64_t at = bit - first_bit_;
        const unsigned symbols =
            encoder.symbols(std::to_integer<unsigned>(bits_[static_cast<std::size_t>(at / 8)]) >> (7 - at % 8) & 1U);
        if (bit < from + kConvolutionalMemory) continue;
        const std::uint64_t first = symbol_of(bit);
        errors += (symbol(first) >= 128) != (symbols >= 2) ? 1 : 0;
        errors += (symbol(first + 1) >= 128) != (symbols % 2 == 1) ? 1 : 0;
    }
    return errors;
}

} // namespace turnstone
