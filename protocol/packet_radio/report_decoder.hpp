#pragma once
/// AX.25 UI frames with reports to rows: protocol/PACKET_RADIO.md says which report fills which table. Tables and
/// columns are found by their names in the dictionary; what it does not have is left out. Each frame gives a row at
/// most, and one more of weather and of telemetry in its comment. Fixed memory once made.
#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "protocol/decode/decoder.hpp"
#include "protocol/decode/named_row.hpp"
#include "protocol/dictionary/dictionary.hpp"
#include "protocol/packet_radio/report.hpp"

namespace turnstone {

/// Of a report's place in the dictionary. The first three are of the vehicle's own station, `weather` is everybody's,
/// and `heard` is everything else.
enum class RadioPacket : unsigned char { position, telemetry, telemetry_names, weather, heard };
consteval auto words_of(RadioPacket) {
    return words<RadioPacket::heard>("position", "telemetry", "telemetry_names", "weather", "heard");
}

class ReportDecoder {
  public:
    /// `station`: the vehicle's, as ax25_name() has it; empty: none is. The dictionary must outlive it.
    ReportDecoder(const Dictionary& dictionary, std::string station);
    ReportDecoder(const ReportDecoder&) = delete;
    ReportDecoder& operator=(const ReportDecoder&) = delete;
    ReportDecoder(ReportDecoder&&) = default;

    /// `frame`: Frame::packet of an EscapedDeframer that keeps the head of AX.25. Valid until the next call.
    [[nodiscard]] DecodedPacket decode(std::span<const std::byte> frame) noexcept;

  private:
    /// Who said it, by what way. Views are of the frame or of `names_`.
    struct Way {
        std::string_view station, destination, path, gateway;
        bool is_repeated = false; ///< by a digipeater or a gateway
    };
    struct Kind {
        std::optional<std::size_t> packet = {}; ///< of the dictionary
        NamedRow row = {};
        std::uint16_t count = 0;
    };

    /// False: a third party's header that is none.
    static bool take_third_party(std::string_view& information, Way& way) noexcept;
    [[nodiscard]] Way way_of(std::span<const std::byte> addresses) noexcept;
    void fill_position(NamedRow& row, const Report& report, const Way& way) noexcept;
    /// Of a position, which has its comment in its own row, without.
    void fill_telemetry(NamedRow& row, const Report& report, std::string_view comment) noexcept;
    void fill_weather(NamedRow& row, const Report& report, const Way& way) noexcept;
    void fill_heard(NamedRow& row, const Report& report, const Way& way) noexcept;
    /// What our station says of its telemetry.
    void take_names(const Report& report) noexcept;
    /// What a row keeps of it: valid UTF-8, cut at kTextBytesMax octets.
    std::string_view text(std::string_view from) noexcept;
    /// The row of it is filled: what the frame gives.
    void add(RadioPacket which) noexcept;
    DecodedPacket given(const Way& way, std::string_view information) noexcept;
    Kind& of(RadioPacket which) noexcept { return kinds_[static_cast<std::size_t>(which)]; }

    const Dictionary* dictionary_;
    std::string station_;
    std::array<Kind, kWords<RadioPacket>.size()> kinds_;
    std::array<TelemetryEquation, kAnalogCount> equations_{};
    bool has_equations_ = false;
    std::array<char, 128> names_{};
    std::vector<char> texts_;
    std::size_t texts_size_ = 0;
    std::vector<std::byte> said_; ///< what is the same in every copy
    std::array<DecodedRow, 3> rows_{};
    std::size_t row_count_ = 0;
    RadioPacket first_{}; ///< of the rows: what the frame counts as
};

} // namespace turnstone
