#include "protocol/coding/octet_stuffing.hpp"

#include <cstring>

namespace turnstone {
namespace {

constexpr std::byte kHdlcEscape{0x7D}, kHdlcFlip{0x20};
constexpr std::byte kSlipEscape{0xDB}, kEscapedDelimiter{0xDC}, kEscapedEscape{0xDD};

constexpr std::byte escape_of(Stuffing stuffing) noexcept {
    return stuffing == Stuffing::hdlc ? kHdlcEscape : kSlipEscape;
}

} // namespace

UnstuffResult unstuff(Stuffing stuffing, std::span<const std::byte> stuffed, std::span<std::byte> plain) noexcept {
    const std::byte escape = escape_of(stuffing);
    const std::byte* from = stuffed.data();
    const std::byte* const end = from + stuffed.size();
    std::byte* to = plain.data();
    const auto produced = [&] { return static_cast<std::size_t>(to - plain.data()); };
    while (from != end) {
        const auto left = static_cast<std::size_t>(end - from);
        const void* at = std::memchr(from, std::to_integer<int>(escape), left);
        const std::size_t run =
            at == nullptr ? left : static_cast<std::size_t>(static_cast<const std::byte*>(at) - from);
        std::memcpy(to, from, run);
        to += run;
        from += run;
        if (at == nullptr) break;
        if (++from == end) return {false, produced()};
        std::byte value = *from++;
        if (stuffing == Stuffing::hdlc)
            value ^= kHdlcFlip;
        else if (value == kEscapedDelimiter)
            value = delimiter_of(stuffing);
        else if (value == kEscapedEscape)
            value = kSlipEscape;
        else
            return {false, produced()};
        *to++ = value;
    }
    return {true, produced()};
}

void stuff(Stuffing stuffing, std::span<const std::byte> plain, std::vector<std::byte>& out,
           std::uint32_t control_map) {
    const std::byte delimiter = delimiter_of(stuffing), escape = escape_of(stuffing);
    for (const std::byte value : plain) {
        const auto number = std::to_integer<unsigned>(value);
        const bool is_control = stuffing == Stuffing::hdlc && number < 32 && (control_map >> number & 1U) != 0;
        if (value != delimiter && value != escape && !is_control) {
            out.push_back(value);
            continue;
        }
        out.push_back(escape);
        if (stuffing == Stuffing::hdlc)
            out.push_back(value ^ kHdlcFlip);
        else
            out.push_back(value == delimiter ? kEscapedDelimiter : kEscapedEscape);
    }
}

} // namespace turnstone
