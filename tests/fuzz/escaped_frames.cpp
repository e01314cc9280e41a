// Frames between flags: cut alike in any split. The first bytes choose the format and seed the split.
#include "protocol/framing/escaped_deframer.hpp"
#include "tests/fuzz/framings.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace turnstone;
    if (size < 2) return 0;
    EscapedFormat format;
    format.stuffing = static_cast<Stuffing>(data[0] % kWords<Stuffing>.size());
    const unsigned choice = data[0] / 4;
    if (choice % 4 != 0) format.crc = kCrcKinds[choice % kCrcKinds.size()];
    format.crc_little = choice % 2 == 1;
    format.skipped_bytes = choice / 8 % 3;
    format.ax25 = choice >= 56 ? Ax25Head::kept : choice >= 48 ? Ax25Head::removed : Ax25Head::none;
    if (choice % 16 >= 8) format.apid = 5;
    if (choice % 32 == 7) format.port = 0;
    fuzz::check(EscapedDeframer(format, data[1] % 4 == 0 ? 4096 : 100), std::as_bytes(std::span(data + 2, size - 2)),
                data[1]);
    return 0;
}
