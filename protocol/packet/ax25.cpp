#include "protocol/packet/ax25.hpp"

#include <algorithm>
#include <charconv>

namespace turnstone {
namespace {

constexpr std::byte kUi{0x03}, kPoll{0x10};
constexpr unsigned kLastAddress = 0x01, kHasRepeated = 0x80, kReserved = 0x60; // of the byte with the SSID

unsigned ssid_byte(std::span<const std::byte, kAx25AddressBytes> address) noexcept {
    return std::to_integer<unsigned>(address.back());
}

/// `flag`: the bit for "command", or for "has been repeated".
void append_address(std::vector<std::byte>& out, std::string_view name, bool flag, bool is_last) {
    constexpr std::size_t kCallsign = kAx25AddressBytes - 1;
    const std::size_t hyphen = std::min(name.find('-'), name.size());
    for (std::size_t k = 0; k < kCallsign; ++k)
        out.push_back(static_cast<std::byte>(static_cast<unsigned char>(k < hyphen ? name[k] : ' ') << 1U));
    unsigned ssid = 0;
    if (hyphen < name.size()) std::from_chars(name.data() + hyphen + 1, name.data() + name.size(), ssid);
    out.push_back(
        static_cast<std::byte>((flag ? kHasRepeated : 0U) | kReserved | ssid << 1U | (is_last ? kLastAddress : 0U)));
}

} // namespace

Ax25Frame split_ax25(std::span<const std::byte> frame) noexcept {
    Ax25Frame out;
    std::size_t at = 0;
    for (bool last = false; !last; at += kAx25AddressBytes) {
        if (at == kAx25AddressBytes * kAx25AddressesMost || frame.size() < at + kAx25AddressBytes) return out;
        last = (frame[at + kAx25AddressBytes - 1] & std::byte{kLastAddress}) != std::byte{0};
    }
    if (at < 2 * kAx25AddressBytes || frame.size() <= at) return out;
    out.addresses = frame.first(at);
    out.verdict = Ax25Verdict::other;
    if ((frame[at] & ~kPoll) != kUi) return out;
    out.verdict = Ax25Verdict::bad_addresses;
    if (frame.size() < at + 2) return out;
    out.verdict = Ax25Verdict::ui;
    out.protocol = std::to_integer<std::uint8_t>(frame[at + 1]);
    out.information = frame.subspan(at + 2);
    return out;
}

std::size_t write_ax25_name(std::span<const std::byte, kAx25AddressBytes> address, char* out) noexcept {
    std::size_t size = 0;
    for (std::size_t k = 0; k + 1 < kAx25AddressBytes; ++k) {
        const auto letter = static_cast<char>(std::to_integer<unsigned>(address[k]) >> 1U);
        if (letter != ' ') out[size++] = letter > ' ' && letter < 0x7F ? letter : '?';
    }
    const unsigned ssid = ssid_byte(address) >> 1U & 0x0FU;
    if (ssid == 0) return size;
    out[size++] = '-';
    if (ssid >= 10) out[size++] = '1';
    out[size++] = static_cast<char>('0' + ssid % 10);
    return size;
}

std::optional<std::string> ax25_name(std::string_view text) {
    constexpr std::size_t kCallsignMost = kAx25AddressBytes - 1;
    std::string name(text);
    for (char& c : name) c = c >= 'a' && c <= 'z' ? static_cast<char>(c - 'a' + 'A') : c;
    const std::size_t hyphen = name.find('-');
    const std::string_view callsign = std::string_view(name).substr(0, hyphen);
    const auto is_letter = [](char c) { return (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9'); };
    if (callsign.empty() || callsign.size() > kCallsignMost || !std::ranges::all_of(callsign, is_letter))
        return std::nullopt;
    if (hyphen == std::string::npos) return name;
    const std::string_view ssid = std::string_view(name).substr(hyphen + 1);
    const auto is_digit = [](char c) { return c >= '0' && c <= '9'; };
    if (ssid.empty() || ssid.size() > 2 || !std::ranges::all_of(ssid, is_digit)) return std::nullopt;
    const int number = ssid.size() == 1 ? ssid[0] - '0' : 10 * (ssid[0] - '0') + (ssid[1] - '0');
    if (number > 15) return std::nullopt;
    return std::string(callsign) + (number == 0 ? "" : "-" + std::to_string(number));
}

bool has_repeated(std::span<const std::byte, kAx25AddressBytes> address) noexcept {
    return (ssid_byte(address) & kHasRepeated) != 0;
}

std::vector<std::byte> encode_ax25_ui(std::string_view destination, std::string_view source,
                                      const std::vector<std::string>& repeaters, std::string_view information) {
    std::vector<std::byte> out;
    append_address(out, destination, true, false); // a command frame, section 6.1.2
    append_address(out, source, false, repeaters.empty());
    for (std::size_t k = 0; k < repeaters.size(); ++k)
        append_address(out, repeaters[k].substr(0, repeaters[k].find('*')), repeaters[k].ends_with('*'),
                       k + 1 == repeaters.size());
    out.push_back(kUi);
    out.push_back(std::byte{kNoLayer3});
    const auto content = std::as_bytes(std::span(information));
    out.insert(out.end(), content.begin(), content.end());
    return out;
}

} // namespace turnstone
