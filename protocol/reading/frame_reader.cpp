#include "protocol/reading/frame_reader.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>

#include "protocol/nmea/nmea_dictionary.hpp"
#include "protocol/packet_radio/radio_dictionary.hpp"

namespace turnstone {
namespace {

template <class... Each>
struct Overloaded : Each... {
    using Each::operator()...;
};
template <class... Each>
Overloaded(Each...) -> Overloaded<Each...>; // clang 14 does not deduce it from the aggregate

std::string list(const auto& range, auto name) {
    std::string out;
    for (const auto& each : range) out += (out.empty() ? "" : ", ") + std::string(name(each));
    return out;
}

/// Of frames that hold the content of packets, and no packets; empty: of others.
std::optional<std::uint16_t> apid_of_payloads(const Framing& framing) {
    if (const auto* binary = std::get_if<BinaryFraming>(&framing)) return binary->format.apid;
    if (const auto* escaped = std::get_if<EscapedFraming>(&framing)) return escaped->format.apid;
    return std::nullopt;
}

std::string packets_of(const Dictionary& dictionary, std::uint16_t apid) {
    std::vector<const Packet*> held;
    for (const Packet& packet : dictionary.packets)
        if (packet.apid == apid) held.push_back(&packet);
    return list(held, [](const Packet* packet) { return packet->name; });
}

/// Packets with a name that something fills.
template <class Names>
std::string filled_by(const Dictionary& dictionary) {
    std::vector<const Packet*> filled;
    for (const Packet& packet : dictionary.packets)
        if (from_word<Names>(packet.name)) filled.push_back(&packet);
    return list(filled, [](const Packet* packet) { return packet->name; });
}

std::string describe_escaped(const EscapedFormat& format, const Dictionary& dictionary) {
    constexpr std::array<std::string_view, kWords<Stuffing>.size()> kFrames = {"HDLC-like frames", "SLIP frames",
                                                                               "KISS frames"};
    std::string out(kFrames[static_cast<std::size_t>(format.stuffing)]);
    if (format.crc) out += " with " + std::string(format.crc->name.empty() ? "a CRC" : format.crc->name);
    if (format.ax25 == Ax25Head::removed) out += " of AX.25";
    return out + (format.apid ? ", each one of " + packets_of(dictionary, *format.apid) : ", each a space packet");
}

std::string describe_tm(const TmFormat& format) {
    std::string out = "space packets in transfer frames of " + std::to_string(format.frame_bytes) + " octets";
    if (format.correctable > 0)
        out += ", Reed-Solomon (255," + std::to_string(255 - 2 * format.correctable) + ") with interleave " +
               std::to_string(format.interleave);
    if (format.error_control) out += ", CRC-16";
    if (format.symbols != ChannelSymbols::bits) out += ", convolutional";
    return out + " (TM.md)";
}

/// Where the polynomial has the factor x + 1, only even numbers of wrong bits pass, and of these twice as many.
double wrong_passes_crc(unsigned width) {
    return 2 * std::exp2(-static_cast<double>(width));
}

/// A word that lies at random is within reach of some codeword once in E! times (R. J. McEliece and L. Swanson, "On the
/// decoder error probability for Reed-Solomon codes", IEEE Trans. Information Theory 32(5), 1986).
double wrong_passes_tm(const TmFormat& format) {
    const double code = format.correctable > 0 ? 1 / std::tgamma(format.correctable + 1.0) : 1;
    return code * (format.error_control ? wrong_passes_crc(16) : 1);
}

// How much of two damaged copies differs, at most, where to put copies together is worth a try; frames that have
// nothing in common differ in half.
/// A bit error rate of 3 %: a vote of three gives hardly any frame of fifty bytes.
constexpr double kPlain = 1.0 / 16;
/// One of 6 %: what is wrong in a vote is more than a Reed-Solomon code corrects.
constexpr double kCorrected = 1.0 / 8;
/// Of the symbols of each nearly a quarter is wrong: so it is where a decoder just reads the mean of three.
constexpr double kSoft = 3.0 / 8;

std::optional<CopyKind> copies_of(const Framing& framing) {
    if (std::holds_alternative<CobsFraming>(framing))
        return CopyKind{false, kPlain, std::byte{0}, wrong_passes_crc(16)};
    if (const auto* escaped = std::get_if<EscapedFraming>(&framing); escaped != nullptr && escaped->format.crc)
        return CopyKind{false, kPlain, delimiter_of(escaped->format.stuffing),
                        wrong_passes_crc(escaped->format.crc->width)};
    if (const auto* binary = std::get_if<BinaryFraming>(&framing); binary != nullptr && binary->format.crc)
        return CopyKind{false, kPlain, {}, wrong_passes_crc(binary->format.crc->width)};
    if (const auto* tm = std::get_if<TmFraming>(&framing); tm != nullptr && tm->format.is_checked()) {
        const bool soft = tm->format.symbols != ChannelSymbols::bits;
        const double differ_most = soft ? kSoft : tm->format.correctable > 0 ? kCorrected : kPlain;
        return CopyKind{soft, differ_most, {}, wrong_passes_tm(tm->format)};
    }
    return std::nullopt;
}

} // namespace

FrameReader::FrameReader(const Framing& framing, const Dictionary& dictionary)
    : pair_(make(framing, dictionary)), copies_(copies_of(framing)) {}

FrameReader::Any FrameReader::make(const Framing& framing, const Dictionary& dictionary) {
    return std::visit(
        Overloaded{[&](const CobsFraming&) -> Any {
                       return Pair<Deframer, Decoder>{Deframer(frame_bytes_max(dictionary.packet_bytes_max)),
                                                      Decoder(dictionary)};
                   },
                   [&](const NmeaFraming& nmea) -> Any {
                       return Pair<LineDeframer, NmeaDecoder>{LineDeframer(sentence_rules(nmea.checksum_required)),
                                                              NmeaDecoder(dictionary, nmea.anemometer_deg)};
                   },
                   [&](const TextFraming& text) -> Any {
                       return Pair<LineDeframer, LineDecoder>{
                           LineDeframer({.checksum = text.checksum}),
                           LineDecoder(dictionary, text.packet, text.separator, text.decimal)};
                   },
                   [&](const BinaryFraming& binary) -> Any {
                       return Pair<BinaryDeframer, PayloadDecoder>{BinaryDeframer(binary.format),
                                                                   PayloadDecoder(dictionary, true)};
                   },
                   [&](const EscapedFraming& escaped) -> Any {
                       return Pair<EscapedDeframer, PayloadDecoder>{
                           EscapedDeframer(escaped.format, dictionary.packet_bytes_max),
                           PayloadDecoder(dictionary, escaped.format.apid.has_value())};
                   },
                   [&](const RadioFraming& radio) -> Any {
                       return Pair<EscapedDeframer, ReportDecoder>{EscapedDeframer(radio.format),
                                                                   ReportDecoder(dictionary, radio.station)};
                   },
                   [&](const TmFraming& tm) -> Any {
                       return Pair<TmDeframer, PartDecoder>{TmDeframer(tm.format, dictionary.packet_bytes_max),
                                                            PartDecoder(dictionary)};
                   },
                   [&](const PacketsFraming& packets) -> Any {
                       KnownPackets known{.apids = {}, .packet_bytes_max = dictionary.packet_bytes_max};
                       for (const Packet& packet : dictionary.packets) known.apids.set(packet.apid);
                       return Pair<PacketDeframer, Decoder>{PacketDeframer(packets.sync, known), Decoder(dictionary)};
                   }},
        framing);
}

const CodeFigures* FrameReader::code() const noexcept {
    const auto* tm = std::get_if<Pair<TmDeframer, PartDecoder>>(&pair_);
    return tm == nullptr ? nullptr : &tm->deframer.figures();
}

void FrameReader::begin_code_period() noexcept {
    if (auto* tm = std::get_if<Pair<TmDeframer, PartDecoder>>(&pair_)) tm->deframer.begin_period();
}

void check_framing(const Framing& framing, const Dictionary& dictionary, const std::string& file,
                   std::vector<Problem>& problems) {
    if (std::holds_alternative<NmeaFraming>(framing)) check_nmea_dictionary(dictionary, file, problems);
    if (std::holds_alternative<RadioFraming>(framing)) check_radio_dictionary(dictionary, file, problems);
    if (const auto* text = std::get_if<TextFraming>(&framing))
        check_line_dictionary(dictionary, text->packet, file, problems);
    const auto apid = apid_of_payloads(framing);
    if (apid && std::ranges::find(dictionary.packets, *apid, &Packet::apid) == dictionary.packets.end())
        problems.push_back({file, "/packets",
                            "has no packet of APID " + std::to_string(*apid) + ", which the frames of a link hold",
                            "give apid= of the link the APID of one of them"});
}

std::string describe_framing(const Framing& framing, const Dictionary& dictionary) {
    return std::visit(
        Overloaded{[](const CobsFraming&) -> std::string { return "space packets, COBS and CRC-16 (LINK.md)"; },
                   [&](const NmeaFraming&) -> std::string {
                       return "NMEA 0183 sentences into " + filled_by<NmeaPacket>(dictionary);
                   },
                   [&](const RadioFraming& radio) -> std::string {
                       return "packet radio reports into " + filled_by<RadioPacket>(dictionary) +
                              (radio.station.empty() ? ", of no station: give station= the vehicle's callsign"
                                                     : ", the vehicle's of " + radio.station);
                   },
                   [&](const TextFraming& text) -> std::string {
                       const auto packet = text.packet.empty()
                                               ? dictionary.packets.begin()
                                               : std::ranges::find(dictionary.packets, text.packet, &Packet::name);
                       if (packet == dictionary.packets.end()) return "lines";
                       return "lines of " + packet->name + ": " +
                              list(
                                  packet->body.fields, [](const Field& field) { return field.name; });
                   },
                   [&](const BinaryFraming& binary) -> std::string {
                       const BinaryFormat& format = binary.format;
                       return "frames of " + std::to_string(format.head_bytes() + format.crc_bytes()) + " octets and " +
                              (format.length_bytes > 0 ? "up to " : "") + std::to_string(format.payload_bytes) +
                              " of " + packets_of(dictionary, format.apid);
                   },
                   [&](const EscapedFraming& escaped) { return describe_escaped(escaped.format, dictionary); },
                   [](const TmFraming& tm) { return describe_tm(tm.format); },
                   [](const PacketsFraming& packets) -> std::string {
                       return packets.sync.empty() ? "space packets one behind the other (TM.md)"
                                                   : "space packets, a sync word before each (TM.md)";
                   }},
        framing);
}

} // namespace turnstone
