#include "server/pipeline/link/byte_look.hpp"

#include <algorithm>
#include <cstring>
#include <optional>
#include <string_view>
#include <vector>

namespace turnstone {

namespace {

constexpr std::size_t kLeast = 16;
constexpr std::size_t kSentenceBytesMax = 82; // IEC 61162-1, from $ to LF; senders with longer ones are tolerated below

using Counts = std::array<std::uint32_t, 256>;

Counts count(std::span<const std::byte> bytes) {
    Counts counts{};
    for (const std::byte byte : bytes) ++counts[std::to_integer<std::size_t>(byte)];
    return counts;
}

std::optional<unsigned> hex_digit(char c) {
    if (c >= '0' && c <= '9') return static_cast<unsigned>(c - '0');
    if (c >= 'A' && c <= 'F') return static_cast<unsigned>(c - 'A' + 10);
    return std::nullopt;
}

/// Sentences whose checksum, the exclusive or of everything between $ and *, fits.
std::size_t sentences(std::string_view text) {
    std::size_t whole = 0;
    for (std::size_t at = text.find_first_of("$!"); at != std::string_view::npos;
         at = text.find_first_of("$!", at + 1)) {
        const std::string_view sentence = text.substr(at + 1, 2 * kSentenceBytesMax);
        const std::size_t star = sentence.find('*');
        if (star == std::string_view::npos || star + 2 >= sentence.size()) continue;
        unsigned sum = 0;
        for (const char c : sentence.substr(0, star)) sum ^= static_cast<unsigned char>(c);
        const auto high = hex_digit(sentence[star + 1]), low = hex_digit(sentence[star + 2]);
        if (star >= 5 && high && low && sum == *high * 16 + *low) ++whole;
    }
    return whole;
}

bool is_text(const Counts& counts, std::size_t size) {
    std::size_t printable = counts['\r'] + counts['\n'] + counts['\t'];
    for (std::size_t c = 0x20; c < 0x7F; ++c) printable += counts[c];
    return printable * 100 >= size * 97;
}

/// Every run of equal bits from the start bit (0) on is at least two long, but for the last, which the byte cuts off.
/// True of all bytes that a line twice as fast as its sender, or faster, makes of what it hears.
bool has_slow_bits(unsigned byte) {
    unsigned run = 1, bit = 0; // the start bit
    for (unsigned k = 0; k < 8; ++k) {
        const unsigned next = byte >> k & 1u;
        if (next == bit) {
            ++run;
            continue;
        }
        if (run < 2) return false;
        bit = next;
        run = 1;
    }
    return true;
}

bool are_slow_bits(const Counts& counts, std::size_t size) {
    std::size_t slow = 0, kinds = 0;
    for (unsigned byte = 0; byte < 256; ++byte) {
        if (!has_slow_bits(byte)) continue;
        slow += counts[byte];
        kinds += counts[byte] > 0 ? 1 : 0;
    }
    return kinds >= 2 && slow * 100 >= size * 97;
}

/// A pair that comes often, mostly when its first byte comes, and not too close to itself: packets have a length.
std::optional<std::array<std::uint8_t, 2>> start_bytes(std::span<const std::byte> bytes, const Counts& counts) {
    constexpr std::size_t kPacketBytesMin = 6;
    const std::size_t least = std::max<std::size_t>(6, bytes.size() / 512);
    struct Pair {
        std::uint32_t count = 0, newest = 0, close = 0;
    };
    std::vector<Pair> pairs(65536);
    const auto at = [&](std::size_t k) { return std::to_integer<std::size_t>(bytes[k]); };
    for (std::size_t k = 0; k + 1 < bytes.size(); ++k) {
        Pair& pair = pairs[at(k) * 256 + at(k + 1)];
        if (pair.count > 0 && k - pair.newest < kPacketBytesMin) ++pair.close;
        pair.newest = static_cast<std::uint32_t>(k);
        ++pair.count;
    }
    const auto fits = [&](std::size_t first, std::size_t second) {
        const Pair& pair = pairs[first * 256 + second];
        return first != second && pair.count >= least && pair.close * 20 <= pair.count &&
               pair.count * 2 >= counts[first];
    };
    std::uint32_t most = 0;
    for (std::size_t k = 0; k < pairs.size(); ++k)
        if (fits(k / 256, k % 256)) most = std::max(most, pairs[k].count);
    if (most == 0) return std::nullopt;
    // Of bytes that follow each other in every packet the first two are its start: before them stands this and that.
    for (std::size_t k = 0; k < pairs.size(); ++k) {
        const std::size_t first = k / 256, second = k % 256;
        if (!fits(first, second) || pairs[k].count * 10 < most * 8) continue;
        std::uint32_t before = 0;
        for (std::size_t other = 0; other < 256; ++other) before = std::max(before, pairs[other * 256 + first].count);
        if (before * 10 < pairs[k].count * 6)
            return std::array{static_cast<std::uint8_t>(first), static_cast<std::uint8_t>(second)};
    }
    return std::nullopt;
}

} // namespace

BytesSeen look_at(std::span<const std::byte> bytes) {
    bytes = bytes.first(std::min(bytes.size(), kLookBytesMax));
    if (bytes.size() < kLeast) return {};
    const Counts counts = count(bytes);
    const auto common = static_cast<std::size_t>(std::max_element(counts.begin(), counts.end()) - counts.begin());
    if (counts[common] * 100 >= bytes.size() * 98) return {ByteLook::one_byte, {static_cast<std::uint8_t>(common)}};
    if (sentences({reinterpret_cast<const char*>(bytes.data()), bytes.size()}) > 0) return {ByteLook::nmea};
    if (is_text(counts, bytes.size())) return {ByteLook::text};
    if (are_slow_bits(counts, bytes.size())) return {ByteLook::slow_bits};
    if (const auto start = start_bytes(bytes, counts)) return {ByteLook::start_bytes, *start};
    return {ByteLook::noise};
}

void ByteSample::push(std::span<const std::byte> bytes) noexcept {
    const std::size_t taken = std::min(bytes.size(), kLookBytesMax - size_);
    std::memcpy(bytes_.data() + size_, bytes.data(), taken);
    size_ += taken;
}

} // namespace turnstone
