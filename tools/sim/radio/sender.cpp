#include "tools/sim/radio/sender.hpp"

#include <algorithm>
#include <chrono>
#include <span>
#include <thread>

namespace turnstone::sim {

namespace {

constexpr std::size_t kPieceBytes = 32; ///< what a serial adapter hands over in one go, about 6 ms at 57600 baud
constexpr std::chrono::milliseconds kLinger{500};

} // namespace

Result<void> play(const DeliveredStream& stream, Output& output, double speed,
                  const std::optional<Unplugged>& unplugged, const std::atomic<bool>& stop) {
    const auto start = std::chrono::steady_clock::now();
    bool out = false;
    for (const Delivery& delivery : stream.deliveries) {
        const std::span<const std::uint8_t> bytes(&stream.bytes[delivery.offset], delivery.size);
        const double byte_s = (delivery.t_end_s - delivery.t_begin_s) / static_cast<double>(delivery.size);
        for (std::size_t done = 0; done < bytes.size();) {
            if (stop) return {};
            const std::size_t piece = std::min(kPieceBytes, bytes.size() - done);
            const double due_s = delivery.t_begin_s + byte_s * static_cast<double>(done + piece);
            if (speed > 0.0) {
                std::this_thread::sleep_until(start + std::chrono::duration_cast<std::chrono::steady_clock::duration>(
                                                          std::chrono::duration<double>(due_s / speed)));
            }
            const bool should_be_out = unplugged && due_s >= unplugged->first && due_s < unplugged->second;
            if (should_be_out && !out) {
                output.unplug();
            } else if (!should_be_out && out) {
                if (auto plugged = output.plug(); !plugged) return plugged;
            }
            out = should_be_out;
            if (!out) output.write(bytes.subspan(done, piece));
            done += piece;
        }
    }
    // Closing a pseudo-terminal discards what its reader has not taken.
    std::this_thread::sleep_for(kLinger);
    return {};
}

} // namespace turnstone::sim
