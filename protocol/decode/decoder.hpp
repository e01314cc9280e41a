#pragma once
/// Turns space packets into rows of channels in engineering units, by a plan made once from the dictionary: integer
/// ids, no strings, no allocation per packet once the largest has been seen.
#include <cstdint>
#include <memory>
#include <span>
#include <string_view>

#include "protocol/dictionary/dictionary.hpp"
#include "shared/words.hpp"

namespace turnstone {

enum class DecodeVerdict : unsigned char {
    good,
    unknown_apid,
    wrong_size,    ///< the packet's length is not the dictionary's, or not what the packet itself tells
    no_time,       ///< secondary header flag not set
    not_telemetry, ///< packet type telecommand, version not 0, or segmented
    idle,          ///< APID 2047
    no_layout,     ///< none of the APID's layouts is for the values in this packet
    part,          ///< of a sentence: what it says comes with one after it
    unused,        ///< a sentence or line that says nothing that is read here: of another kind, a header, a comment
    bad_value      ///< a field of a sentence or line that cannot be what it stands for, or is missing
};
consteval auto words_of(DecodeVerdict) {
    return words<DecodeVerdict::bad_value>("good", "unknown_apid", "wrong_size", "no_time", "not_telemetry", "idle",
                                           "no_layout", "part", "unused", "bad_value");
}

/// The content of one packet. The spans are valid until the next decode on the same decoder.
struct DecodedRow {
    std::size_t table;                       ///< index into Dictionary::tables
    double time_offset_ms;                   ///< of this row after the packet's time (0 except in groups)
    std::span<const double> numbers;         ///< by Channel::place; NaN: not finite, no value
    std::span<const std::string_view> texts; ///< after them by Channel::place, valid UTF-8
    std::uint64_t out_of_range;              ///< bit k: number channel k (k < 64) lies outside its valid range
};

struct DecodedPacket {
    DecodeVerdict verdict;
    std::size_t packet; ///< index into Dictionary::packets when verdict is good
    std::uint16_t apid;
    std::uint16_t sequence_count;
    bool has_time;                  ///< false: it has none, or one that cannot be
    std::uint64_t onboard_ticks_ns; ///< decode_time_ns(): rollovers not removed
    std::span<const DecodedRow> rows;
    /// False: the sender does not count its packets, and the count is of those that came.
    bool is_counted = true;
    /// What a capture can be timed by when the packet has no time: of the same clock; -1: nothing.
    std::int64_t told_ns = -1;
    /// Of what is not counted: by which copies are known. Empty: by what the rows say.
    std::span<const std::byte> said = {};
    /// Somebody else says again what the sender has said, on the same link too: it may be a copy of that.
    bool is_repeated = false;
};

class Decoder {
  public:
    /// The dictionary must outlive the decoder.
    explicit Decoder(const Dictionary& dictionary);
    Decoder(Decoder&&) noexcept;
    ~Decoder();
    /// `packet` starts at the primary header and ends before the CRC. Never throws.
    [[nodiscard]] DecodedPacket decode(std::span<const std::byte> packet) noexcept;

  private:
    struct Plan;
    std::unique_ptr<Plan> plan_;
};

} // namespace turnstone
