#include "protocol/framing/line_deframer.hpp"

#include <array>
#include <cstdio>
#include <cstring>
#include <optional>

#include "protocol/framing/crc16.hpp"

namespace turnstone {
namespace {

constexpr std::array<std::byte, 3> kByteOrderMark{std::byte{0xEF}, std::byte{0xBB}, std::byte{0xBF}};

std::optional<unsigned> digit_of(std::byte byte) noexcept {
    const auto c = std::to_integer<unsigned>(byte);
    if (c >= '0' && c <= '9') return c - '0';
    if (c >= 'A' && c <= 'F') return c - 'A' + 10;
    if (c >= 'a' && c <= 'f') return c - 'a' + 10;
    return std::nullopt;
}

std::optional<unsigned> hexadecimal(std::span<const std::byte> digits) noexcept {
    unsigned value = 0;
    for (const std::byte each : digits) {
        const auto digit = digit_of(each);
        if (!digit) return std::nullopt;
        value = value * 16 + *digit;
    }
    return value;
}

unsigned checksum_of(LineChecksum kind, std::span<const std::byte> bytes) noexcept {
    if (kind == LineChecksum::crc16) return crc16(bytes);
    unsigned sum = 0;
    for (const std::byte each : bytes) sum ^= std::to_integer<unsigned>(each);
    return sum;
}

std::size_t digits_of(LineChecksum kind) noexcept {
    return kind == LineChecksum::crc16 ? 4 : 2;
}

bool is_printable(std::byte byte) noexcept {
    return byte >= std::byte{0x20} && byte <= std::byte{0x7E};
}

/// UTF-8 (RFC 3629) without control characters but the tab.
bool is_plain_text(std::span<const std::byte> bytes) noexcept {
    std::size_t more = 0; // continuation bytes to come
    std::byte least{0x80}, greatest{0xBF};
    for (const std::byte byte : bytes) {
        const auto b = std::to_integer<unsigned>(byte);
        if (more > 0) {
            if (byte < least || byte > greatest) return false;
            least = std::byte{0x80};
            greatest = std::byte{0xBF};
            --more;
        } else if (b < 0x80) {
            if ((b < 0x20 && b != '\t') || b == 0x7F) return false;
        } else if (b < 0xC2 || b > 0xF4) {
            return false;
        } else {
            more = b < 0xE0 ? 1 : b < 0xF0 ? 2 : 3;
            if (b == 0xE0) least = std::byte{0xA0};
            if (b == 0xED) greatest = std::byte{0x9F};
            if (b == 0xF0) least = std::byte{0x90};
            if (b == 0xF4) greatest = std::byte{0x8F};
        }
    }
    return more == 0;
}

bool is_line_end(char c) noexcept {
    return c == '\r' || c == '\n';
}

} // namespace

std::size_t LineDeframer::plain_run(std::span<const std::byte> bytes) const noexcept {
    // Outside a sentence, and in a line that is too long already, the piece is what there is room for.
    const bool skips = too_long_ || (rules_.are_sentences && size_ == 0);
    const std::size_t room = skips ? kTooLongBytesMax - skipped_ : line_.size() - size_ + 1;
    const std::span<const std::byte> next = bytes.first(std::min(bytes.size(), room));
    const auto sign = std::find_if(next.begin(), next.end(), [&](std::byte byte) {
        const auto c = static_cast<char>(byte);
        return is_line_end(c) || (rules_.are_sentences && (c == '$' || c == '!'));
    });
    return static_cast<std::size_t>(sign - next.begin());
}

bool LineDeframer::hold(std::span<const std::byte> bytes, Frame& frame) noexcept {
    pair_ = 0;
    const bool outside = rules_.are_sentences && size_ == 0 && !too_long_;
    if (!outside && !too_long_ && size_ + bytes.size() <= line_.size()) {
        std::memcpy(line_.data() + size_, bytes.data(), bytes.size());
        size_ += bytes.size();
        return false;
    }
    too_long_ = !outside;
    skipped_ += size_ + bytes.size();
    counts_.bytes_dropped += size_ + bytes.size();
    size_ = 0;
    if (skipped_ < kTooLongBytesMax) return false;
    frame = {
        too_long_ ? FrameVerdict::too_long : FrameVerdict::outside, offset_, static_cast<std::uint32_t>(skipped_), {}};
    ++counts_.frames_bad;
    offset_ += skipped_;
    skipped_ = 0;
    return true;
}

bool LineDeframer::close(FrameVerdict otherwise, std::size_t more, Frame& frame) noexcept {
    const std::size_t link_bytes = skipped_ + size_ + more;
    frame = {otherwise, offset_, static_cast<std::uint32_t>(link_bytes), {line_.data(), size_}};
    const bool any = link_bytes > more;
    if (any && too_long_)
        frame.verdict = FrameVerdict::too_long;
    else if (any && skipped_ > 0)
        frame.verdict = FrameVerdict::outside;
    else if (any && otherwise == FrameVerdict::good)
        frame.verdict = judge(frame.packet);
    const bool good = any && frame.verdict == FrameVerdict::good;
    (good ? counts_.bytes_framed : counts_.bytes_dropped) += size_ + more;
    if (any) ++(good ? counts_.frames_good : counts_.frames_bad);
    offset_ += link_bytes;
    size_ = skipped_ = 0;
    too_long_ = false;
    return any;
}

bool LineDeframer::take_sign(char sign, Frame& frame) noexcept {
    if (!is_line_end(sign)) { // a sentence begins, whatever was before
        pair_ = 0;
        const bool any = close(FrameVerdict::cut_short, 0, frame);
        // What the frame shows is overwritten: a sentence that was cut short is shown without its content.
        frame.packet = {};
        line_[0] = static_cast<std::byte>(sign);
        size_ = 1;
        return any;
    }
    if (sign == pair_ && size_ == 0 && skipped_ == 0 && !too_long_) {
        (pair_framed_ ? counts_.bytes_framed : counts_.bytes_dropped) += 1;
        ++offset_;
        pair_ = 0;
        return false;
    }
    const bool any = close(FrameVerdict::good, 1, frame);
    if (any) any_line_ = true;
    pair_ = sign == '\r' ? '\n' : '\r';
    pair_framed_ = any && frame.verdict == FrameVerdict::good;
    return any;
}

FrameVerdict LineDeframer::judge(std::span<const std::byte>& content) const noexcept {
    if (!any_line_ && !rules_.are_sentences && content.size() >= kByteOrderMark.size() &&
        std::equal(kByteOrderMark.begin(), kByteOrderMark.end(), content.begin()))
        content = content.subspan(kByteOrderMark.size());
    const bool text =
        rules_.are_sentences ? std::all_of(content.begin(), content.end(), is_printable) : is_plain_text(content);
    if (!text) return FrameVerdict::not_text;
    if (rules_.checksum == LineChecksum::none) return FrameVerdict::good;
    const bool signed_line = !content.empty() && content[0] == std::byte{'$'};
    if (signed_line && !rules_.are_sentences) content = content.subspan(1);
    const std::size_t begin = rules_.are_sentences ? 1 : 0;
    const auto star = std::find(content.rbegin(), content.rend(), std::byte{'*'});
    const auto digits = static_cast<std::size_t>(star - content.rbegin());
    const bool is_missing = star == content.rend() || digits == 0;
    if (is_missing || (!rules_.are_sentences && digits != digits_of(rules_.checksum))) {
        if (rules_.checksum_required) return FrameVerdict::no_checksum;
        if (star != content.rend()) content = content.first(content.size() - digits - 1);
        return FrameVerdict::good;
    }
    const std::span<const std::byte> told = content.last(digits);
    content = content.first(content.size() - digits - 1);
    if (digits != digits_of(rules_.checksum)) return FrameVerdict::bad_crc;
    const std::span<const std::byte> summed = content.subspan(begin);
    if (rules_.are_sentences && std::find(summed.begin(), summed.end(), std::byte{'*'}) != summed.end())
        return FrameVerdict::bad_crc;
    return hexadecimal(told) == checksum_of(rules_.checksum, summed) ? FrameVerdict::good : FrameVerdict::bad_crc;
}

std::string encode_line(std::string_view line, LineChecksum checksum) {
    std::string out(line);
    if (checksum != LineChecksum::none) {
        std::array<char, 8> digits{};
        const int size =
            std::snprintf(digits.data(), digits.size(), checksum == LineChecksum::crc16 ? "*%04X" : "*%02X",
                          checksum_of(checksum, std::as_bytes(std::span(line))));
        out.append(digits.data(), static_cast<std::size_t>(size));
    }
    return out + "\r\n";
}

std::string encode_sentence(std::string_view sentence) {
    return "$" + encode_line(sentence, LineChecksum::xor8);
}

} // namespace turnstone
