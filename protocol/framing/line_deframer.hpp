#pragma once
/// Lines of characters: NMEA 0183 sentences (protocol/NMEA.md) and the text of protocol/TEXT.md. A line ends at CR, LF,
/// CR LF or LF CR; a sentence begins at $ or !, wherever that stands, and what is outside one belongs to no frame.
#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "protocol/framing/frame.hpp"
#include "shared/words.hpp"

namespace turnstone {

/// After the last * of a line, in hexadecimal digits of either case; a $ or ! before the line does not count.
enum class LineChecksum : unsigned char {
    none,
    xor8, ///< two digits: exclusive or of all characters (NMEA 0183)
    crc16 ///< four digits: CRC-16/IBM-3740
};
consteval auto words_of(LineChecksum) {
    return words<LineChecksum::crc16>("none", "xor", "crc16");
}

struct LineRules {
    bool are_sentences = false; ///< of printable ASCII, from $ or ! on; else of UTF-8, from line end to line end
    LineChecksum checksum = LineChecksum::none;
    bool checksum_required = true;
    std::size_t bytes_max = 1024; ///< of a line, without its end
};

/// Sentences of NMEA 0183. The standard allows 82 characters with $ and line end; receivers that give more digits, and
/// makers' own sentences, reach 110 (common practice, no source).
inline constexpr std::size_t kNmeaBytesMax = 120;
[[nodiscard]] constexpr LineRules sentence_rules(bool checksum_required = true) noexcept {
    return {true, LineChecksum::xor8, checksum_required, kNmeaBytesMax};
}

/// Frame::packet is the line without end and checksum: of a sentence with its $ or !.
class LineDeframer {
  public:
    explicit LineDeframer(const LineRules& rules) : rules_(rules), line_(rules.bytes_max) {}

    /// The second character of a line end counts with the line; blank lines are dropped and not reported.
    template <class OnFrame>
    void push(std::span<const std::byte> bytes, OnFrame&& on_frame) {
        counts_.bytes_in += bytes.size();
        while (!bytes.empty()) {
            Frame frame{};
            const std::size_t plain = plain_run(bytes);
            if (plain > 0) {
                if (hold(bytes.first(plain), frame)) on_frame(static_cast<const Frame&>(frame));
            } else if (take_sign(static_cast<char>(bytes[0]), frame)) {
                on_frame(static_cast<const Frame&>(frame));
            }
            bytes = bytes.subspan(std::max<std::size_t>(plain, 1));
        }
    }

    [[nodiscard]] const DeframerCounts& counts() const noexcept { return counts_; }
    [[nodiscard]] std::span<const std::byte> pending() const noexcept { return {line_.data(), size_}; }

  private:
    /// Bytes that neither begin nor end a line, no more than the line or the piece at hand takes.
    [[nodiscard]] std::size_t plain_run(std::span<const std::byte> bytes) const noexcept;
    bool hold(std::span<const std::byte> bytes, Frame& frame) noexcept;
    bool take_sign(char sign, Frame& frame) noexcept;
    /// Ends what is at hand, with `more` bytes of the present one. False: there was nothing.
    bool close(FrameVerdict otherwise, std::size_t more, Frame& frame) noexcept;
    [[nodiscard]] FrameVerdict judge(std::span<const std::byte>& content) const noexcept;

    DeframerCounts counts_;
    LineRules rules_;
    std::vector<std::byte> line_;
    std::size_t size_ = 0;     ///< of what `line_` holds
    std::size_t skipped_ = 0;  ///< bytes of the piece at hand already counted as dropped
    std::uint64_t offset_ = 0; ///< of the first byte of what is at hand
    bool too_long_ = false;    ///< what is skipped is of a line
    bool any_line_ = false;    ///< one has ended
    char pair_ = 0;            ///< the other half of a line end, when the first has just come; 0: none
    bool pair_framed_ = false; ///< it counts with a good line
};

/// `line` with its checksum and CR LF: for tests and simulators. A sentence is given without $.
[[nodiscard]] std::string encode_line(std::string_view line, LineChecksum checksum);
[[nodiscard]] std::string encode_sentence(std::string_view sentence);

} // namespace turnstone
