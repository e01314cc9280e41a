// Link bytes -> rows with the other framings, each beside the least that any reader of it must do, on the same bytes:
// NMEA 0183: line ends and the checksum; lines: line ends and numbers; binary: the CRC. The median of several runs
// each.
#include <algorithm>
#include <charconv>
#include <cstdio>
#include <cstring>
#include <functional>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "protocol/lines/line_dictionary.hpp"
#include "protocol/nmea/nmea_dictionary.hpp"
#include "protocol/reading/frame_reader.hpp"
#include "tools/benchmarks/measure.hpp"

namespace {

using namespace turnstone;

constexpr std::size_t kReadBytes = 4096;
constexpr int kFrames = 100'000;

Dictionary dictionary_of(const std::string& json) {
    std::vector<Problem> problems;
    Dictionary dictionary = read_dictionary(nlohmann::json::parse(json), "dictionary.json", problems);
    if (!problems.empty()) throw std::runtime_error(to_string(problems));
    return dictionary;
}

std::vector<std::byte> bytes_of(const std::string& text) {
    const auto bytes = std::as_bytes(std::span(text));
    return {bytes.begin(), bytes.end()};
}

std::vector<std::byte> sentences() {
    std::string out;
    for (int k = 0; k < kFrames / 4; ++k) {
        char time[16];
        std::snprintf(time, sizeof time, "%02d%02d%02d.00", k / 3600 % 24, k / 60 % 60, k % 60);
        const std::string at = std::string(time) + ",3515.12345,N,11730.56789,W";
        out += encode_sentence("GNGGA," + at + ",1,17,0.61,3048.7,M,-29.4,M,,");
        out += encode_sentence("GNRMC," + std::string(time) + ",A,3515.12345,N,11730.56789,W,0.520,84.40,150624,,,A");
        out += encode_sentence("GNGSA,A,3,65,67,80,81,,,,,,,,,1.20,0.62,1.03,2");
        out += encode_sentence("WIMWV,214.8,T,12.4,N,A");
    }
    return bytes_of(out);
}

std::vector<std::byte> lines() {
    std::string out;
    for (int k = 0; k < kFrames; ++k) {
        char line[96];
        std::snprintf(line, sizeof line, "%d,%.2f,%.3f,%.3f,%.1f,armed\n", 20 * k, 0.01 * (k % 5000),
                      9.8 + 1e-3 * (k % 17), -0.2 + 1e-3 * (k % 13), 90420.0 - k % 90);
        out += line;
    }
    return bytes_of(out);
}

std::vector<std::byte> frames(const BinaryFormat& format) {
    std::vector<std::byte> out;
    for (int k = 0; k < kFrames; ++k) {
        std::vector<std::byte> payload(48, static_cast<std::byte>(k));
        const auto frame = encode_binary_frame(format, payload);
        out.insert(out.end(), frame.begin(), frame.end());
    }
    return out;
}

std::uint64_t sink = 0;

void read(const Framing& framing, const Dictionary& dictionary, const std::vector<std::byte>& link) {
    FrameReader reader(framing, dictionary);
    for (std::size_t at = 0; at < link.size(); at += kReadBytes)
        reader.push(std::span(link).subspan(at, std::min(kReadBytes, link.size() - at)),
                    [](const Frame&, const DecodedPacket* packet) {
                        if (packet != nullptr) sink += packet->rows.size();
                    });
}

/// Calls `each` with every line, its end left out.
template <class Each>
void for_each_line(const std::vector<std::byte>& link, Each each) {
    const char* at = reinterpret_cast<const char*>(link.data());
    const char* const end = at + link.size();
    while (at < end) {
        const auto* line_end = static_cast<const char*>(std::memchr(at, '\n', static_cast<std::size_t>(end - at)));
        each(std::string_view(at, static_cast<std::size_t>(line_end - at)));
        at = line_end + 1;
    }
}

} // namespace

int main() {
    const Dictionary nmea = dictionary_of(nmea_dictionary_json("boat"));
    const Dictionary text = dictionary_of(line_dictionary_json(
        "proto", {{"time_ms"}, {"alt_m"}, {"accel_mps2"}, {"rate_radps"}, {"pressure_pa"}, {"state", true}}));
    const Dictionary binary = dictionary_of(R"({"vehicle": "v", "version": "1", "packets": [
        {"apid": 0, "name": "p", "period_ms": 0, "fields": [{"name": "x", "type": "i16", "count": 24}]}]})");
    BinaryFraming format;
    format.format.sync = {std::byte{0xEB}, std::byte{0x90}};
    format.format.length_bytes = 1;
    format.format.payload_bytes = 255;
    format.format.crc = crc_kind_from_text("CRC-16/IBM-3740");
    const auto nmea_link = sentences(), text_link = lines(), binary_link = frames(format.format);
    const Crc crc(*format.format.crc);

    bench::Race race;
    const auto nmea_rows = race.add(
        "NMEA 0183: sentences to rows", [&] { read(NmeaFraming{}, nmea, nmea_link); });
    const auto nmea_limit = race.add(
        "  limit: line ends and checksums",
        [&] {
            for_each_line(
                nmea_link,
                [](std::string_view line) {
                    unsigned char sum = 0;
                    for (const char c : line.substr(1, line.size() - 5)) sum ^= static_cast<unsigned char>(c);
                    sink += sum;
                });
        });
    const auto text_rows = race.add(
        "text: lines to rows", [&] { read(TextFraming{}, text, text_link); });
    const auto text_limit = race.add(
        "  limit: line ends and from_chars",
        [&] {
            for_each_line(
                text_link,
                [](std::string_view line) {
                    for (const char* at = line.data(); at < line.data() + line.size(); ++at) {
                        double value = 0;
                        at = std::from_chars(at, line.data() + line.size(), value).ptr;
                        sink += value > 0 ? 1 : 0;
                        at = std::find(at, line.data() + line.size(), ',');
                    }
                });
        });
    const auto binary_rows = race.add("binary: frames to rows", [&] { read(format, binary, binary_link); });
    const auto binary_limit = race.add("  limit: the CRC alone", [&] {
        const std::size_t size = binary_link.size() / kFrames;
        for (std::size_t k = 0; k < kFrames; ++k)
            sink += crc.of(std::span(binary_link).subspan(k * size + 2, size - 4));
    });
    race.run(7);
    std::printf("framings: %d frames of each, %.0f, %.0f and %.0f bytes in the mean\n", kFrames,
                static_cast<double>(nmea_link.size()) / kFrames, static_cast<double>(text_link.size()) / kFrames,
                static_cast<double>(binary_link.size()) / kFrames);
    for (const auto& [rows, limit] :
         {std::pair(nmea_rows, nmea_limit), std::pair(text_rows, text_limit), std::pair(binary_rows, binary_limit)}) {
        for (const auto id : {rows, limit})
            std::printf("  %-36s %8.2f million frames/s  (spread %.0f %%)\n", race.name(id).c_str(),
                        kFrames / race.median_s(id) * 1e-6, race.spread_percent(id));
        std::printf("    ratio to the limit: %.2f\n", race.median_s(limit) / race.median_s(rows));
    }
    return sink == 0 ? 1 : 0; // keeps the work from being optimised away
}
