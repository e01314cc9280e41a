#include "protocol/reading/frame_reader.hpp"

#include <algorithm>

#include "protocol/nmea/nmea_dictionary.hpp"

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

} // namespace

FrameReader::FrameReader(const Framing& framing, const Dictionary& dictionary) : pair_(make(framing, dictionary)) {}

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
                       return Pair<BinaryDeframer, Decoder>{BinaryDeframer(binary.format), Decoder(dictionary)};
                   }},
        framing);
}

void check_framing(const Framing& framing, const Dictionary& dictionary, const std::string& file,
                   std::vector<Problem>& problems) {
    if (std::holds_alternative<NmeaFraming>(framing)) check_nmea_dictionary(dictionary, file, problems);
    if (const auto* text = std::get_if<TextFraming>(&framing))
        check_line_dictionary(dictionary, text->packet, file, problems);
    const auto* binary = std::get_if<BinaryFraming>(&framing);
    if (binary == nullptr) return;
    const std::uint16_t apid = binary->format.apid;
    if (std::ranges::find(dictionary.packets, apid, &Packet::apid) == dictionary.packets.end())
        problems.push_back({file, "/packets",
                            "has no packet of APID " + std::to_string(apid) + ", which the frames of a link hold",
                            "give apid= of the link the APID of one of them"});
}

std::string describe_framing(const Framing& framing, const Dictionary& dictionary) {
    return std::visit(
        Overloaded{[](const CobsFraming&) -> std::string { return "space packets, COBS and CRC-16 (LINK.md)"; },
                   [&](const NmeaFraming&) -> std::string {
                       const auto name = [](const Packet& packet) { return packet.name; };
                       std::vector<Packet const*> filled;
                       for (const Packet& packet : dictionary.packets)
                           if (from_word<NmeaPacket>(packet.name)) filled.push_back(&packet);
                       return "NMEA 0183 sentences into " +
                              list(
                                  filled, [&](const Packet* packet) { return name(*packet); });
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
                       std::vector<const Packet*> held;
                       for (const Packet& packet : dictionary.packets)
                           if (packet.apid == format.apid) held.push_back(&packet);
                       return "frames of " + std::to_string(format.head_bytes() + format.crc_bytes()) + " octets and " +
                              (format.length_bytes > 0 ? "up to " : "") + std::to_string(format.payload_bytes) +
                              " of " +
                              list(
                                  held, [](const Packet* packet) { return packet->name; });
                   }},
        framing);
}

} // namespace turnstone
