#pragma once
/// Sentences to rows: protocol/NMEA.md says which sentence fills which table. Tables and columns are found by their
/// names in the dictionary; what it does not have is left out. A sentence gives rows of one packet: of "fix" one or two
/// (fix_epochs.hpp), of "satellites" once a group of GSV is whole, of "transducers" once those with columns have come
/// as often as they did. Fixed memory once made.
#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "protocol/decode/decoder.hpp"
#include "protocol/decode/named_row.hpp"
#include "protocol/dictionary/dictionary.hpp"
#include "protocol/nmea/completion.hpp"
#include "protocol/nmea/fix_epochs.hpp"
#include "protocol/nmea/sentence.hpp"

namespace turnstone {

/// Of a sentence's place in the dictionary: its packet, and what of that comes several times.
enum class NmeaPacket : unsigned char { fix, satellites, wind, weather, heading, engine, transducers };
consteval auto words_of(NmeaPacket) {
    return words<NmeaPacket::transducers>("fix", "satellites", "wind", "weather", "heading", "engine", "transducers");
}

class NmeaDecoder {
  public:
    /// The dictionary must outlive it. `anemometer_deg` as NmeaFraming has it.
    explicit NmeaDecoder(const Dictionary& dictionary, std::optional<double> anemometer_deg = {});
    NmeaDecoder(const NmeaDecoder&) = delete;
    NmeaDecoder& operator=(const NmeaDecoder&) = delete;
    NmeaDecoder(NmeaDecoder&&) = default;

    /// `sentence`: Frame::packet of a LineDeframer. The result is valid until the next call.
    [[nodiscard]] DecodedPacket decode(std::span<const std::byte> sentence) noexcept;

  private:
    static constexpr std::size_t kSatellitesMax = 64;
    static constexpr std::size_t kTransducersMax = kSentenceFieldsMax / 4;
    /// Satellites in view, of one talker, while its sentences come.
    struct View {
        std::array<char, 2> talker{};
        int parts = 0, next = 0; ///< next 0: none is begun
        double in_view = kNaN;
        std::size_t count = 0;
        std::array<std::array<double, 4>, kSatellitesMax> satellites{}; ///< number, elevation, azimuth, signal
    };
    struct Kind {
        std::optional<std::size_t> packet = {}; ///< of the dictionary
        std::vector<NamedRow> rows = {};        ///< of the packet's own table
        std::vector<NamedRow> parts = {};       ///< of its group
        std::uint16_t count = 0;
    };

    DecodedPacket fix(const NmeaSentence& sentence) noexcept;
    DecodedPacket satellites(const NmeaSentence& sentence) noexcept;
    DecodedPacket wind(const NmeaSentence& sentence) noexcept;
    DecodedPacket weather(const NmeaSentence& sentence) noexcept;
    DecodedPacket heading(const NmeaSentence& sentence) noexcept;
    DecodedPacket engine(const NmeaSentence& sentence) noexcept;
    DecodedPacket transducers(const NmeaSentence& sentence) noexcept;
    /// A row of the packet's own table, all its names in order.
    DecodedPacket one_row(NmeaPacket which, std::span<const double> values) noexcept;
    void fill(NamedRow& row, const NmeaFix& fix) noexcept;
    [[nodiscard]] DecodedPacket refused(NmeaPacket which) const noexcept;
    DecodedPacket given(NmeaPacket which) noexcept;
    Kind& of(NmeaPacket which) noexcept { return kinds_[static_cast<std::size_t>(which)]; }

    const Dictionary* dictionary_;
    std::optional<double> anemometer_deg_;
    std::array<Kind, kWords<NmeaPacket>.size()> kinds_;
    FixEpochs epochs_;
    std::array<View, 6> views_; ///< the talker not heard for longest makes room
    std::size_t view_at_ = 0;
    std::vector<std::string> transducer_names_; ///< columns of "transducers", the first 64
    Completion transducers_;                    ///< by place among the names
    std::size_t transducer_row_ = 0;            ///< of the two rows the one at hand
    std::vector<DecodedRow> rows_;
};

} // namespace turnstone
