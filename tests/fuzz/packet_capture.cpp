// Recorded files of packets: any split gives the same payloads. The first byte seeds the split.
#include "protocol/pcap/packet_capture.hpp"
#include "tests/fuzz/framings.hpp"

namespace {

using namespace turnstone;

std::vector<std::uint64_t> payloads(std::span<const std::byte> bytes, unsigned seed) {
    std::vector<std::uint64_t> numbers;
    PacketCapture capture;
    while (!bytes.empty()) {
        seed = seed * 1103515245U + 12345U;
        const std::size_t size =
            seed % 2 == 0 ? bytes.size() : std::min<std::size_t>(bytes.size(), 1 + seed / 65536U % 97);
        capture.push(bytes.first(size), [&](std::int64_t t_ns, std::span<const std::byte> payload) {
            numbers.insert(numbers.end(), {static_cast<std::uint64_t>(t_ns), payload.size(), crc16(payload)});
        });
        bytes = bytes.subspan(size);
    }
    const PacketCapture::Counts& counts = capture.counts();
    fuzz::demand(counts.payloads == numbers.size() / 3 && counts.payloads <= counts.packets);
    numbers.insert(numbers.end(), {counts.packets, counts.unknown, counts.fragments, counts.cut});
    for (const char c : capture.at_end()) numbers.push_back(static_cast<unsigned char>(c));
    return numbers;
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    if (size == 0) return 0;
    const auto bytes = std::as_bytes(std::span(data + 1, size - 1));
    turnstone::fuzz::demand(payloads(bytes, 0) == payloads(bytes, 2U * data[0] + 1U));
    return 0;
}
