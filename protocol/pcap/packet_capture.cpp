#include "protocol/pcap/packet_capture.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "protocol/coding/octet_stuffing.hpp"

namespace turnstone {
namespace {

constexpr std::size_t kRecordBytesMax = 1 << 20; // no packet is as long; a damaged length must not fill the memory
constexpr std::size_t kInterfacesMost = 1024;
constexpr std::size_t kPcapHeadBytes = 24, kPcapRecordBytes = 16, kBlockBytes = 12;

constexpr std::uint32_t kSectionHeader = 0x0A0D0D0A, kByteOrderMagic = 0x1A2B3C4D;
constexpr std::uint32_t kInterfaceBlock = 1, kOldPacketBlock = 2, kSimplePacketBlock = 3, kEnhancedPacketBlock = 6;

// Link types (www.tcpdump.org/linktypes.html).
constexpr std::uint16_t kNull = 0, kEthernet = 1, kAx25 = 3, kRawOld = 12, kRawOlder = 14, kRaw = 101, kLoop = 108,
                        kLinuxCooked = 113, kAx25Kiss = 202, kIpv4 = 228, kIpv6 = 229, kLinuxCooked2 = 276;
constexpr unsigned kTypeIpv4 = 0x0800, kTypeIpv6 = 0x86DD, kTypeVlan = 0x8100, kTypeVlans = 0x88A8;
constexpr unsigned kUdp = 17, kFragmentHeader = 44;

std::uint64_t octets_as_number(std::span<const std::byte> bytes, bool little) noexcept {
    std::uint64_t value = 0;
    for (std::size_t k = 0; k < bytes.size(); ++k)
        value = value << 8U | std::to_integer<std::uint64_t>(bytes[little ? bytes.size() - 1 - k : k]);
    return value;
}
unsigned big16(std::span<const std::byte> bytes, std::size_t at) noexcept {
    return static_cast<unsigned>(octets_as_number(bytes.subspan(at, 2), false));
}

struct Magic {
    std::uint32_t value; ///< read with the least significant byte first
    bool little;
    bool nanoseconds;
};
constexpr std::array<Magic, 4> kPcapMagics = {
    {{0xA1B2C3D4, true, false}, {0xD4C3B2A1, false, false}, {0xA1B23C4D, true, true}, {0x4D3CB2A1, false, true}}};

const Magic* pcap_magic(std::span<const std::byte> head) noexcept {
    const auto found = std::ranges::find(kPcapMagics, octets_as_number(head.first(4), true), &Magic::value);
    return found == kPcapMagics.end() ? nullptr : &*found;
}

} // namespace

bool PacketCapture::is_one(std::span<const std::byte> head) noexcept {
    return head.size() >= 4 && (pcap_magic(head) != nullptr || octets_as_number(head.first(4), true) == kSectionHeader);
}

std::uint64_t PacketCapture::number(std::span<const std::byte> bytes) const noexcept {
    return octets_as_number(bytes, is_little_);
}

void PacketCapture::fail(const std::string& why) {
    error_ = "the packet capture cannot be read from byte " + std::to_string(offset_) + " on: " + why;
    held_.clear();
    at_ = 0;
}

void PacketCapture::take(std::span<const std::byte> bytes) {
    if (!error_.empty()) return;
    held_.erase(held_.begin(), held_.begin() + static_cast<std::ptrdiff_t>(at_));
    at_ = 0;
    held_.insert(held_.end(), bytes.begin(), bytes.end());
}

bool PacketCapture::next() {
    while (error_.empty()) {
        const std::uint64_t before = offset_;
        std::optional<bool> payload;
        if (kind_ == Kind::unknown) {
            begin();
            if (offset_ == before && kind_ == Kind::unknown) return false;
            continue;
        }
        payload = kind_ == Kind::pcap ? pcap_record() : pcapng_block();
        if (!payload) return false;
        if (*payload) {
            ++counts_.payloads;
            return true;
        }
    }
    return false;
}

void PacketCapture::begin() {
    if (rest().size() < 4) return;
    if (octets_as_number(rest().first(4), true) == kSectionHeader) {
        kind_ = Kind::pcapng;
        return;
    }
    const Magic* magic = pcap_magic(rest());
    if (magic == nullptr) return fail("it begins neither as pcap nor as pcapng");
    if (rest().size() < kPcapHeadBytes) return;
    is_little_ = magic->little;
    if (const auto version = number(rest().subspan(4, 2)); version != 2)
        return fail("its version is " + std::to_string(version) + ", not 2");
    interfaces_ = {{.link_type = static_cast<std::uint16_t>(number(rest().subspan(20, 4)) & 0xFFFFU),
                    .time_exponent = magic->nanoseconds ? 9U : 6U}};
    kind_ = Kind::pcap;
    at_ += kPcapHeadBytes;
    offset_ += kPcapHeadBytes;
}

std::optional<bool> PacketCapture::pcap_record() {
    if (rest().size() < kPcapRecordBytes) return std::nullopt;
    const auto field = [&](std::size_t k) { return number(rest().subspan(4 * k, 4)); };
    const std::uint64_t size = field(2);
    if (size > kRecordBytesMax) {
        fail("a packet of " + std::to_string(size) + " bytes");
        return std::nullopt;
    }
    if (rest().size() < kPcapRecordBytes + size) return std::nullopt;
    const std::span<const std::byte> bytes = rest().subspan(kPcapRecordBytes, static_cast<std::size_t>(size));
    const std::uint64_t second = interfaces_[0].time_exponent == 9 ? 1'000'000'000U : 1'000'000U;
    const std::int64_t t_ns = time_ns(interfaces_[0], field(0) * second + field(1));
    const bool payload = packet(interfaces_[0], t_ns, bytes, static_cast<std::size_t>(field(3)));
    at_ += kPcapRecordBytes + bytes.size();
    offset_ += kPcapRecordBytes + bytes.size();
    return payload;
}

std::optional<bool> PacketCapture::pcapng_block() {
    if (rest().size() < kBlockBytes) return std::nullopt;
    const bool is_section = octets_as_number(rest().first(4), true) == kSectionHeader;
    if (is_section) is_little_ = octets_as_number(rest().subspan(8, 4), true) == kByteOrderMagic;
    const auto type = static_cast<std::uint32_t>(number(rest().first(4)));
    const std::uint64_t size = number(rest().subspan(4, 4));
    if (size < kBlockBytes || size % 4 != 0 || size > kRecordBytesMax) {
        fail("a block of " + std::to_string(size) + " bytes");
        return std::nullopt;
    }
    if (rest().size() < size) return std::nullopt;
    const std::span<const std::byte> whole = rest().first(static_cast<std::size_t>(size));
    if (number(whole.last(4)) != size) {
        fail("a block whose two lengths differ");
        return std::nullopt;
    }
    const bool payload = block(type, whole.subspan(8, whole.size() - kBlockBytes));
    if (!error_.empty()) return std::nullopt;
    at_ += whole.size();
    offset_ += whole.size();
    return payload;
}

bool PacketCapture::block(std::uint32_t type, std::span<const std::byte> body) {
    const auto field = [&](std::size_t k) { return number(body.subspan(4 * k, 4)); };
    const auto packet_of = [&](std::uint64_t which, std::size_t head, std::uint64_t ticks, std::uint64_t size,
                               std::uint64_t original) {
        if (which >= interfaces_.size() || size > body.size() - head) {
            fail("a packet of an interface or a length that is not there");
            return false;
        }
        const Interface& from = interfaces_[static_cast<std::size_t>(which)];
        return packet(from, time_ns(from, ticks), body.subspan(head, static_cast<std::size_t>(size)),
                      static_cast<std::size_t>(original));
    };
    switch (type) {
    case kSectionHeader: section(body); return false;
    case kInterfaceBlock: interface(body); return false;
    case kEnhancedPacketBlock:
        if (body.size() < 20) break;
        return packet_of(field(0), 20, field(1) << 32U | field(2), field(3), field(4));
    case kOldPacketBlock:
        if (body.size() < 20) break;
        return packet_of(number(body.first(2)), 20, field(1) << 32U | field(2), field(3), field(4));
    case kSimplePacketBlock: {
        if (body.size() < 4 || interfaces_.empty()) break;
        std::uint64_t size = std::min<std::uint64_t>(field(0), body.size() - 4);
        if (interfaces_[0].captured_most > 0) size = std::min<std::uint64_t>(size, interfaces_[0].captured_most);
        return packet(interfaces_[0], -1, body.subspan(4, static_cast<std::size_t>(size)),
                      static_cast<std::size_t>(field(0)));
    }
    default: return false; // names, statistics and what else there may be
    }
    fail("a block that is too short");
    return false;
}

void PacketCapture::section(std::span<const std::byte> body) {
    if (body.size() < 16 || number(body.first(4)) != kByteOrderMagic) return fail("a section header that is none");
    if (const auto version = number(body.subspan(4, 2)); version != 1)
        return fail("its version is " + std::to_string(version) + ", not 1");
    interfaces_.clear();
}

void PacketCapture::interface(std::span<const std::byte> body) {
    if (body.size() < 8) return fail("a block that is too short");
    if (interfaces_.size() >= kInterfacesMost) return fail("more than 1024 interfaces");
    Interface out{.link_type = static_cast<std::uint16_t>(number(body.first(2))),
                  .captured_most = static_cast<std::uint32_t>(number(body.subspan(4, 4)))};
    for (auto options = body.subspan(8); options.size() >= 4;) {
        constexpr std::uint64_t kTimeResolution = 9, kTimeOffset = 14;
        const std::uint64_t code = number(options.first(2));
        const auto size = static_cast<std::size_t>(number(options.subspan(2, 2)));
        const std::size_t padded = (size + 3) / 4 * 4;
        if (code == 0 || options.size() < 4 + padded) break;
        if (code == kTimeResolution && size == 1) {
            const auto exponent = std::to_integer<unsigned>(options[4]);
            out.binary_time = (exponent & 0x80U) != 0;
            out.time_exponent = exponent & 0x7FU;
        }
        if (code == kTimeOffset && size == 8) out.offset_s = static_cast<std::int64_t>(number(options.subspan(4, 8)));
        options = options.subspan(4 + padded);
    }
    interfaces_.push_back(out);
}

std::int64_t PacketCapture::time_ns(const Interface& from, std::uint64_t ticks) noexcept {
    // Whole nanoseconds where whole numbers hold them; a time that no clock of this century has is none.
    constexpr std::int64_t kLatest_s = 4'000'000'000;
    constexpr std::uint64_t kNanoseconds = 1'000'000'000;
    std::uint64_t seconds = 0, rest_ns = 0;
    if (from.binary_time) {
        if (from.time_exponent > 63) return -1;
        seconds = ticks >> from.time_exponent;
        const std::uint64_t rest = ticks - (seconds << from.time_exponent);
        rest_ns = static_cast<std::uint64_t>(
            std::ldexp(static_cast<double>(rest), 9 - static_cast<int>(from.time_exponent)) * 1'953'125.0);
    } else {
        if (from.time_exponent > 19) return -1;
        std::uint64_t second = 1;
        for (unsigned k = 0; k < from.time_exponent; ++k) second *= 10;
        seconds = ticks / second;
        rest_ns = from.time_exponent <= 9 ? ticks % second * (kNanoseconds / second)
                                          : ticks % second / (second / kNanoseconds);
    }
    if (seconds > static_cast<std::uint64_t>(kLatest_s) || from.offset_s > kLatest_s || from.offset_s < -kLatest_s)
        return -1;
    const std::int64_t whole_s = static_cast<std::int64_t>(seconds) + from.offset_s;
    if (whole_s < 0 || whole_s > kLatest_s) return -1;
    return whole_s * static_cast<std::int64_t>(kNanoseconds) + static_cast<std::int64_t>(rest_ns);
}

bool PacketCapture::packet(const Interface& from, std::int64_t t_ns, std::span<const std::byte> bytes,
                           std::size_t original) {
    ++counts_.packets;
    t_ns_ = t_ns;
    const bool is_whole = bytes.size() >= original;
    const auto behind = [&](std::size_t size) {
        return bytes.size() < size ? std::span<const std::byte>{} : bytes.subspan(size);
    };
    const auto by_type = [&](unsigned type, std::size_t size) {
        return (type == kTypeIpv4 || type == kTypeIpv6) && internet(behind(size), is_whole);
    };
    switch (from.link_type) {
    case kEthernet: {
        std::size_t at = 12;
        while (bytes.size() >= at + 2 && (big16(bytes, at) == kTypeVlan || big16(bytes, at) == kTypeVlans)) at += 4;
        return bytes.size() >= at + 2 && by_type(big16(bytes, at), at + 2);
    }
    case kLinuxCooked: return bytes.size() >= 16 && by_type(big16(bytes, 14), 16);
    case kLinuxCooked2: return bytes.size() >= 20 && by_type(big16(bytes, 0), 20);
    case kNull:
    case kLoop: return internet(behind(4), is_whole);
    case kRaw:
    case kRawOld:
    case kRawOlder:
    case kIpv4:
    case kIpv6: return internet(bytes, is_whole);
    case kAx25:
    case kAx25Kiss: {
        if (!is_whole) {
            ++counts_.cut;
            return false;
        }
        const std::byte flag = delimiter_of(Stuffing::kiss);
        payload_.assign(1, flag);
        if (from.link_type == kAx25) payload_.push_back(std::byte{0}); // port 0, data
        stuff(Stuffing::kiss, bytes, payload_);
        payload_.push_back(flag);
        return true;
    }
    default: ++counts_.unknown; return false;
    }
}

bool PacketCapture::internet(std::span<const std::byte> bytes, bool is_whole) {
    if (bytes.empty()) return false;
    const unsigned version = std::to_integer<unsigned>(bytes[0]) >> 4U;
    if (version == 4) {
        const std::size_t head = (std::to_integer<std::size_t>(bytes[0]) & 0xFU) * 4;
        if (head < 20 || bytes.size() < head || std::to_integer<unsigned>(bytes[9]) != kUdp) return false;
        if ((big16(bytes, 6) & 0x3FFFU) != 0) { // more fragments, or not the first
            ++counts_.fragments;
            return false;
        }
        return datagram(bytes.subspan(head), is_whole);
    }
    constexpr std::size_t kIpv6Head = 40;
    if (version != 6 || bytes.size() < kIpv6Head) return false;
    const auto next_header = std::to_integer<unsigned>(bytes[6]);
    counts_.fragments += next_header == kFragmentHeader ? 1 : 0;
    return next_header == kUdp && datagram(bytes.subspan(kIpv6Head), is_whole);
}

bool PacketCapture::datagram(std::span<const std::byte> bytes, bool is_whole) {
    constexpr std::size_t kUdpHead = 8;
    if (bytes.size() < kUdpHead || big16(bytes, 2) != udp_port_.value_or(static_cast<std::uint16_t>(big16(bytes, 2))))
        return false;
    const std::size_t size = big16(bytes, 4);
    if (size <= kUdpHead) return false;
    if (size > bytes.size()) {
        counts_.cut += is_whole ? 0 : 1;
        return false;
    }
    payload_.assign(bytes.begin() + kUdpHead, bytes.begin() + static_cast<std::ptrdiff_t>(size));
    return true;
}

std::string PacketCapture::at_end() const {
    if (!error_.empty()) return error_;
    if (!rest().empty()) return "the packet capture ends within a packet, at byte " + std::to_string(offset_);
    if (counts_.payloads > 0) return {};
    std::string out = "the packet capture has no UDP datagram";
    if (udp_port_) out += " to port " + std::to_string(*udp_port_);
    out += " and no AX.25 frame among " + std::to_string(counts_.packets) + " packets";
    if (counts_.unknown > 0) out += "; " + std::to_string(counts_.unknown) + " are of a link type that is not read";
    if (counts_.fragments > 0) out += "; " + std::to_string(counts_.fragments) + " are fragments";
    if (counts_.cut > 0) out += "; " + std::to_string(counts_.cut) + " were recorded shorter than they were";
    return out;
}

} // namespace turnstone
