#pragma once
/// Reads a packet from its first field to its last, with everything that a dictionary can say: sizes that the packet
/// tells, groups, conditions, words, calibrations chosen by a field. Packets whose layout is always the same are read
/// by a plan made beforehand (decoder.cpp); tests compare the two. Inner part of the decoder.
#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <vector>

#include "protocol/dictionary/dictionary.hpp"

namespace turnstone {

/// What a packet gave. Everything is a range of the vectors, which keep their room from packet to packet.
struct WalkedRows {
    struct Row {
        std::size_t table;
        double time_offset_ms;
        std::size_t numbers_at; ///< ChannelTable::number_count of them
        std::size_t texts_at;   ///< ChannelTable::text_count of them
        std::uint64_t out_of_range;
    };
    struct Text {
        std::size_t at = 0; ///< of `characters`
        std::size_t size = 0;
    };
    std::vector<Row> rows;
    std::vector<double> numbers;
    std::vector<Text> texts;
    std::vector<char> characters;
};

/// One packet gives no more than these, so that no packet takes all memory.
inline constexpr std::size_t kWalkedRowsMax = 65'536;
inline constexpr std::size_t kWalkedNumbersMax = 1U << 20U;
inline constexpr std::size_t kWalkedCharactersMax = 1U << 22U;

class PacketWalk {
  public:
    /// The dictionary must outlive the walk.
    PacketWalk(const Dictionary& dictionary, std::size_t packet);
    PacketWalk(PacketWalk&&) noexcept;
    ~PacketWalk();

    /// False: a size that the packet tells does not fit it, or there would be too much of something. Reads nothing
    /// outside `packet`, which holds Packet::bytes_min at least.
    [[nodiscard]] bool read(std::span<const std::byte> packet, WalkedRows& out) const;

  private:
    struct Plan;
    std::unique_ptr<const Plan> plan_;
};

} // namespace turnstone
