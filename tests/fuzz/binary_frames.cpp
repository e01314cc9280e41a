// Binary frames: cut alike in any split. The first bytes choose the format and seed the split.
#include "protocol/framing/binary_deframer.hpp"
#include "tests/fuzz/framings.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace turnstone;
    if (size < 3) return 0;
    BinaryFormat format;
    format.sync.assign(data[0] % 5, std::byte{0xEB});
    if (format.sync.size() > 1) format.sync.back() = std::byte{0x90};
    const unsigned choice = data[1];
    format.crc = kCrcKinds[choice % kCrcKinds.size()];
    if (!format.sync.empty()) {
        format.length_bytes = choice / 16 % 3 == 0 ? 1 : choice / 16 % 3 == 1 ? 2 : 4;
        if (choice % 16 == 15) format.crc.reset();
    }
    format.counts = static_cast<LengthCounts>(choice / 32 % 4);
    format.length_little = choice >= 128;
    format.crc_little = choice % 2 == 1;
    format.crc_covers_sync = data[0] >= 128;
    format.payload_bytes = 1 + data[2] % 60;
    fuzz::check(BinaryDeframer(format), std::as_bytes(std::span(data + 3, size - 3)), data[2]);
    return 0;
}
