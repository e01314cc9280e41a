#include "protocol/framing/framing.hpp"

#include <algorithm>
#include <cctype>
#include <charconv>

#include "protocol/packet/space_packet.hpp"
#include "protocol/text/column_name.hpp"

namespace turnstone {
namespace {

constexpr const char* kSyncExpected = "expected 1 to 8 octets in hexadecimal, for instance EB90";

template <class Number>
std::optional<Number> number_in(std::string_view text, Number least, Number greatest) {
    Number value{};
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc{} || end != text.data() + text.size() || !(value >= least) || !(value <= greatest))
        return std::nullopt;
    return value;
}

std::optional<std::vector<std::byte>> bytes_in(std::string_view digits) {
    if (digits.empty() || digits.size() % 2 != 0 || digits.size() > 2 * kSyncBytesMax) return std::nullopt;
    std::vector<std::byte> out;
    for (; !digits.empty(); digits.remove_prefix(2)) {
        unsigned value = 0;
        const auto [end, error] = std::from_chars(digits.data(), digits.data() + 2, value, 16);
        if (error != std::errc{} || end != digits.data() + 2) return std::nullopt;
        out.push_back(static_cast<std::byte>(value));
    }
    return out;
}

std::optional<std::vector<LineColumn>> columns_in(std::string_view list) {
    constexpr std::string_view kText = ":text";
    std::vector<LineColumn> columns;
    for (;;) {
        const std::size_t end = std::min(list.find(','), list.size());
        std::string_view name = list.substr(0, end);
        const bool is_text = name.ends_with(kText);
        if (is_text) name.remove_suffix(kText.size());
        columns.push_back({column_name(name), is_text});
        if (columns.back().name.empty()) return std::nullopt;
        if (end == list.size()) return columns;
        list.remove_prefix(end + 1);
    }
}

const CrcKind& fcs_kind(bool wide) {
    return *std::ranges::find(kCrcKinds, std::string_view(wide ? "CRC-32/ISO-HDLC" : "CRC-16/IBM-SDLC"),
                              &CrcKind::name);
}

template <class Word>
std::string words_text() {
    std::string out;
    for (const auto& each : kWords<Word>) out += (out.empty() ? "" : ", ") + std::string(each);
    return out;
}

/// Takes options by their key; remembers the first mistake.
class OptionReader {
  public:
    explicit OptionReader(FramingOptions& options) : options_(&options) {}

    std::optional<std::string> take(std::string_view key) {
        const auto at = std::ranges::find(*options_, key, &std::pair<std::string, std::string>::first);
        if (at == options_->end()) return std::nullopt;
        std::string value = std::move(at->second);
        options_->erase(at);
        return value;
    }
    /// What `read` makes of the option's value; `otherwise` without it. An empty reading is a mistake.
    template <class Read, class Value>
    Value take(std::string_view key, Read read, const std::string& right, Value otherwise) {
        const auto text = take(key);
        if (!text) return otherwise;
        if (auto value = read(*text)) return std::move(*value);
        note(std::string(key) + "=" + *text, right);
        return otherwise;
    }
    template <class Word>
    Word word_of(std::string_view key, Word otherwise) {
        return take(
            key, [](const std::string& text) { return from_word<Word>(text); }, "expected one of " + words_text<Word>(),
            otherwise);
    }
    void note(const std::string& what, const std::string& right) {
        if (error_.empty()) error_ = "has " + what + "; " + right;
    }
    [[nodiscard]] const std::string& error() const noexcept { return error_; }

  private:
    FramingOptions* options_;
    std::string error_;
};

bool little(OptionReader& in, std::string_view key) {
    return in.take(
        key,
        [](const std::string& text) {
            return text == "little" || text == "big" ? std::optional(text == "little") : std::nullopt;
        },
        "expected big or little", false);
}

NmeaFraming nmea(OptionReader& in) {
    NmeaFraming out;
    out.checksum_required = in.take(
        "checksum",
        [](const std::string& text) {
            return text == "required" || text == "optional" ? std::optional(text == "required") : std::nullopt;
        },
        "expected required or optional", true);
    if (const auto given = in.take("anemometer_deg")) {
        out.anemometer_deg = number_in<double>(*given, -360, 360);
        if (!out.anemometer_deg)
            in.note("anemometer_deg=" + *given, "expected degrees from true north, from -360 to 360");
    }
    return out;
}

TextFraming text(OptionReader& in) {
    TextFraming out;
    out.separator = in.take(
        "separator",
        [](const std::string& given) -> std::optional<char> {
            if (given == "tab") return '\t';
            if (given == "space") return ' ';
            const bool fits = given.size() == 1 && given[0] > ' ' && given[0] < 0x7F && given != "\"" && given != "." &&
                              given != "-" && given != "+" && given != "*" &&
                              !std::isalnum(static_cast<unsigned char>(given[0]));
            return fits ? std::optional(given[0]) : std::nullopt;
        },
        "expected one character such as , or ; or the word tab or space", out.separator);
    out.decimal = in.take(
        "decimal",
        [](const std::string& given) -> std::optional<char> {
            if (given == "comma") return ',';
            return given == "point" ? std::optional('.') : std::nullopt;
        },
        "expected point or comma", out.decimal);
    if (out.decimal == out.separator) in.note("decimal=comma and a comma between columns", "give another separator=");
    out.checksum = in.word_of("checksum", out.checksum);
    out.packet = in.take("packet").value_or("");
    out.names =
        in.take("names", columns_in,
                "expected the names of the columns, with commas between, those of texts with :text behind", out.names);
    return out;
}

std::optional<CrcKind> crc(OptionReader& in) {
    const auto given = in.take("crc");
    if (!given) return std::nullopt;
    const auto kind = crc_kind_from_text(*given);
    std::string known;
    for (const CrcKind& each : kCrcKinds) known += std::string(each.name) + ", ";
    if (!kind) in.note("crc=" + *given, "expected " + known + "or WIDTH:POLYNOMIAL:INITIAL:yes|no:FINAL_XOR");
    return kind;
}

std::optional<std::uint16_t> apid(OptionReader& in) {
    const auto given = in.take("apid");
    if (!given) return std::nullopt;
    const auto number = number_in<std::uint16_t>(*given, 0, kIdleApid - 1);
    if (!number) in.note("apid=" + *given, "expected the APID of the packet in the dictionary");
    return number;
}

BinaryFraming binary(OptionReader& in) {
    BinaryFraming out;
    BinaryFormat& format = out.format;
    format.sync = in.take("sync", bytes_in, kSyncExpected, format.sync);
    format.length_bytes = in.take(
        "length",
        [](const std::string& given) {
            const auto octets = number_in<std::size_t>(given, 1, 4);
            return octets && *octets != 3 ? octets : std::nullopt;
        },
        "expected the octets of the length field: 1, 2 or 4", format.length_bytes);
    format.length_little = little(in, "length_order");
    format.counts = in.word_of("length_counts", format.counts);
    const std::string_view size_key = format.length_bytes == 0 ? "octets" : "octets_max";
    format.payload_bytes = in.take(
        size_key, [](const std::string& given) { return number_in<std::size_t>(given, 1, kPayloadBytesMax); },
        "expected the octets of a payload, up to " + std::to_string(kPayloadBytesMax),
        format.length_bytes == 0 ? std::size_t{0} : std::size_t{1024});
    format.crc = crc(in);
    format.crc_little = little(in, "crc_order");
    const auto covers = in.take("crc_covers").value_or("length");
    format.crc_covers_sync = covers == "sync";
    format.crc_covers_length = covers != "payload";
    if (covers != "sync" && covers != "length" && covers != "payload")
        in.note("crc_covers=" + covers, "expected where it begins: sync, length or payload");
    format.apid = apid(in).value_or(format.apid);
    if (format.payload_bytes == 0)
        in.note("neither length= nor octets=", "give the octets of the length field, or those of every payload");
    if (format.sync.empty() && (format.length_bytes > 0 || !format.crc))
        in.note("no sync=", "only frames of fixed size with a crc= are found without one");
    return out;
}

RadioFraming radio(OptionReader& in, EscapedFormat format) {
    format.ax25 = Ax25Head::kept;
    return {format, in.take("station", ax25_name,
                            "expected a callsign such as N0CALL-11: up to six letters and digits, "
                            "and an SSID to 15",
                            std::string())};
}

Framing escaped(OptionReader& in, Stuffing stuffing) {
    EscapedFormat format;
    format.stuffing = stuffing;
    switch (stuffing) {
    case Stuffing::hdlc:
        format.crc = in.take(
            "fcs",
            [](const std::string& given) {
                return given == "16" || given == "32" ? std::optional(fcs_kind(given == "32")) : std::nullopt;
            },
            "expected the bits of the frame check sequence: 16 or 32", fcs_kind(false));
        format.skipped_bytes = in.take(
            "skip", [](const std::string& given) { return number_in<std::size_t>(given, 0, kSkippedBytesMax); },
            "expected how many octets stand before the content, up to " + std::to_string(kSkippedBytesMax),
            format.skipped_bytes);
        break;
    case Stuffing::slip:
        format.crc = crc(in);
        format.crc_little = little(in, "crc_order");
        break;
    case Stuffing::kiss: {
        if (const auto given = in.take("port")) {
            format.port = number_in<unsigned>(*given, 0, kKissPortMost);
            if (!format.port) in.note("port=" + *given, "expected the port of the radio, from 0 to 15");
        }
        const std::string holds = in.take("holds").value_or("");
        if (holds == "aprs") return radio(in, format);
        if (holds == "ax25") format.ax25 = Ax25Head::removed;
        if (!holds.empty() && holds != "ax25")
            in.note("holds=" + holds, "expected aprs, ax25, or nothing when frames hold packets as they are");
        break;
    }
    }
    format.apid = apid(in);
    return EscapedFraming{format};
}

/// One of two words; the first is true.
bool either(OptionReader& in, std::string_view key, std::string_view yes, std::string_view no, bool otherwise) {
    return in.take(
        key,
        [&](const std::string& given) {
            return given == yes || given == no ? std::optional(given == yes) : std::nullopt;
        },
        "expected " + std::string(yes) + " or " + std::string(no), otherwise);
}

TmFraming tm(OptionReader& in) {
    constexpr std::size_t kCodeword = 255;
    TmFraming out;
    TmFormat& format = out.format;
    format.symbols = in.word_of("symbols", format.symbols);
    format.correctable = in.take(
        "code",
        [](const std::string& given) -> std::optional<unsigned> {
            if (given == "255-223") return 16;
            if (given == "255-239") return 8;
            return given == "none" ? std::optional(0u) : std::nullopt;
        },
        "expected 255-223, 255-239 or none", format.correctable);
    if (format.correctable > 0) {
        format.interleave = in.take(
            "interleave", [](const std::string& given) { return number_in<unsigned>(given, 1, kInterleaveMost); },
            "expected how many codewords a block has, from 1 to 5", format.interleave);
        format.dual_basis = either(in, "basis", "dual", "conventional", format.dual_basis);
    }
    format.randomized = either(in, "randomizer", "on", "off", format.randomized);
    format.error_control = either(in, "check", "crc16", "none", format.correctable == 0);
    const std::size_t data_most = format.interleave * (kCodeword - std::size_t{2} * format.correctable);
    format.frame_bytes = in.take(
        "octets",
        [](const std::string& given) {
            return number_in<std::size_t>(given, kTransferFrameBytesMin, kTransferFrameBytesMax);
        },
        "expected the octets of a transfer frame, from 16 to 2048",
        format.correctable > 0 ? data_most : std::size_t{0});
    if (format.frame_bytes == 0) in.note("no octets=", "give the octets of a transfer frame");
    if (format.correctable > 0 && (format.frame_bytes > data_most || format.frame_bytes % format.interleave != 0))
        in.note("octets=" + std::to_string(format.frame_bytes), "with this code a transfer frame has up to " +
                                                                    std::to_string(data_most) +
                                                                    " octets, a multiple of interleave=");
    format.virtual_channel = in.take(
        "channel",
        [](const std::string& given) {
            const auto number = number_in<unsigned>(given, 0, kVirtualChannels - 1);
            return number ? std::optional(std::optional(*number)) : std::nullopt;
        },
        "expected a virtual channel, from 0 to 7", format.virtual_channel);
    return out;
}

} // namespace

Result<Framing> take_framing(FramingOptions& options) {
    OptionReader in(options);
    const std::string name = in.take("framing").value_or("cobs");
    Framing out;
    if (name == "nmea")
        out = nmea(in);
    else if (name == "text")
        out = text(in);
    else if (name == "binary")
        out = binary(in);
    else if (const auto stuffing = from_word<Stuffing>(name))
        out = escaped(in, *stuffing);
    else if (name == "tm")
        out = tm(in);
    else if (name == "packets")
        out = PacketsFraming{in.take("sync", bytes_in, kSyncExpected, std::vector<std::byte>{})};
    else if (name != "cobs")
        in.note("framing=" + name, "expected cobs, nmea, text, binary, " + words_text<Stuffing>() + ", tm, packets");
    if (!in.error().empty()) return fail(in.error());
    return out;
}

std::string framing_help() {
    return "framing=NAME says how bytes are cut into frames; without it they are those of protocol/LINK.md.\n"
           "  framing=nmea     NMEA 0183 sentences; no dictionary needed. checksum=required|optional,\n"
           "                   anemometer_deg=NUMBER (where the zero mark of a fixed anemometer points)\n"
           "  framing=text     lines of values. separator=, (or tab, space), decimal=point|comma,\n"
           "                   checksum=none|xor|crc16, names=A,B,C without a dictionary, packet=NAME with one\n"
           "  framing=binary   sync=HEX, length=1|2|4 or octets=NUMBER (of every payload), length_order=big|little,\n"
           "                   length_counts=payload|payload_and_crc|after_sync|frame, octets_max=NUMBER,\n"
           "                   crc=CRC-16/IBM-3740 (or WIDTH:POLYNOMIAL:INITIAL:REFLECTED:FINAL_XOR),\n"
           "                   crc_order=big|little, crc_covers=sync|length|payload (where it begins), apid=NUMBER\n"
           "  framing=hdlc     frames between flags, RFC 1662. fcs=16|32, skip=NUMBER (octets before the content)\n"
           "  framing=slip     RFC 1055. crc=NAME, crc_order=big|little where the sender adds one\n"
           "  framing=kiss     frames of a packet radio. port=NUMBER, holds=ax25 (UI frames)\n"
           "                   Of these three each also takes apid=NUMBER: the content is that of one packet.\n"
           "                   holds=aprs: position and telemetry reports, no dictionary needed; "
           "station=CALLSIGN-SSID\n"
           "                   (the vehicle's)\n"
           "  framing=tm       transfer frames, CCSDS 131.0-B and 132.0-B. octets=NUMBER, code=none|255-223|255-239,\n"
           "                   interleave=1...5, basis=dual|conventional, randomizer=on|off, check=crc16|none,\n"
           "                   symbols=bits|hard|soft (of the convolutional code), channel=0...7 (virtual)\n"
           "  framing=packets  space packets one behind the other. sync=HEX where one stands before each";
}

} // namespace turnstone
