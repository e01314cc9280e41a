#pragma once
/// A serial line heard at another rate than it is sent: eight data bits, no parity, one stop bit, least significant bit
/// first. The receiver looks for a falling edge and samples in the middle of its own bits; a byte whose stop bit is 0
/// is handed on as it is, as a Linux terminal in raw mode without INPCK does (termios(3)), and a break as 0x00.
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <vector>

namespace turnstone::test {

struct LineRates {
    double sender_baud, receiver_baud;
};

/// `gap_bits` of idle line follow each byte for which `gap_after(index)` is true.
template <class GapAfter>
std::vector<std::byte> heard(const std::vector<std::byte>& sent, const LineRates& rates, double gap_bits,
                             GapAfter gap_after) {
    std::vector<bool> line{true}; // levels, one for each bit of the sender
    for (std::size_t k = 0; k < sent.size(); ++k) {
        const auto byte = std::to_integer<unsigned>(sent[k]);
        line.push_back(false);
        for (unsigned bit = 0; bit < 8; ++bit) line.push_back((byte >> bit & 1u) != 0);
        line.push_back(true);
        if (gap_after(k)) line.insert(line.end(), static_cast<std::size_t>(gap_bits), true);
    }
    const double step = rates.sender_baud / rates.receiver_baud; // sender's bits in one of the receiver's
    const auto level = [&](double at) {
        const auto index = static_cast<std::size_t>(at);
        return index >= line.size() || line[index];
    };
    std::vector<std::byte> out;
    const auto end = static_cast<double>(line.size());
    double at = 0;
    while (at < end) {
        while (at < end && !level(at)) at = std::floor(at) + 1; // a low line has no edge
        while (at < end && level(at)) at = std::floor(at) + 1;
        if (at >= end) break;
        unsigned byte = 0;
        for (unsigned bit = 0; bit < 8; ++bit) byte |= level(at + (1.5 + bit) * step) ? 1u << bit : 0;
        out.push_back(static_cast<std::byte>(byte));
        at += 9.5 * step;
    }
    return out;
}

} // namespace turnstone::test
