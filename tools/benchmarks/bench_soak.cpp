// A day on the range at a scale of 1 to 96, in real time: fifteen minutes (TURNSTONE_SOAK_MINUTES) of the real server
// process with a vehicle that flies again and again on a pseudo-terminal, a watcher, and a visitor every ten seconds.
// Memory and file size each minute; at the end what was lost of the bytes sent, how late they were received, how late
// the watcher had them, and what the growth would come to in a day.
#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <exception>
#include <filesystem>
#include <stdexcept>
#include <string>
#include <thread>
#include <vector>

#include "server/record/read/catalogue.hpp"
#include "server/record/read/reader.hpp"
#include "tools/benchmarks/flown.hpp"
#include "tools/benchmarks/measure.hpp"
#include "tools/benchmarks/server_process.hpp"
#include "tools/benchmarks/visitors.hpp"

namespace {

using namespace turnstone;
using namespace turnstone::bench;
using namespace std::chrono_literals;

constexpr double kDay_min = 24 * 60;

double minutes() {
    const char* given = std::getenv("TURNSTONE_SOAK_MINUTES");
    const double value = given == nullptr ? 15 : std::atof(given);
    if (!(value >= 1 && value <= kDay_min)) throw std::runtime_error("TURNSTONE_SOAK_MINUTES is from 1 to 1440");
    return value;
}

struct Sample {
    double t_min, resident_mb, file_mb;
};

double file_mb(const std::filesystem::path& folder) {
    double bytes = 0;
    for (const auto& entry : std::filesystem::directory_iterator(folder)) {
        std::error_code gone;
        const auto size = entry.file_size(gone);
        if (!gone) bytes += static_cast<double>(size);
    }
    return bytes / 1e6;
}

/// By a straight line through the second half of the samples, when every cache has its size.
double growth_per_minute(const std::vector<Sample>& samples, double Sample::*what) {
    double n = 0, t = 0, y = 0, tt = 0, ty = 0;
    for (std::size_t i = samples.size() / 2; i < samples.size(); ++i) {
        const double x = samples[i].t_min, value = samples[i].*what;
        n += 1, t += x, y += value, tt += x * x, ty += x * value;
    }
    return (n * ty - t * y) / (n * tt - t * t);
}

/// Sends everything at its time. Returns when each piece was sent, UTC.
std::vector<std::int64_t> send_all(const Terminal& terminal, const std::vector<Sent>& pieces) {
    std::vector<std::int64_t> sent_utc_ns;
    const auto start = Clock::now();
    for (const Sent& piece : pieces) {
        std::this_thread::sleep_until(start + std::chrono::nanoseconds(piece.t_ns));
        sent_utc_ns.push_back(utc_now_ns());
        terminal.write(piece.bytes);
    }
    return sent_utc_ns;
}

/// Compares the recording with what was sent, byte for byte, and prints what is missing and how late the rest came.
void print_received(const std::filesystem::path& folder, const std::vector<Sent>& pieces,
                    const std::vector<std::int64_t>& sent_utc_ns) {
    const auto found = scan_recordings(folder);
    if (found.size() != 1) throw std::runtime_error("there should be one recording");
    auto reader = RecordingReader::open(found.front().path);
    if (!reader) throw std::runtime_error(reader.error().message);
    std::vector<std::byte> sent;
    std::vector<std::size_t> ends; // of the pieces
    for (const Sent& piece : pieces) {
        sent.insert(sent.end(), piece.bytes.begin(), piece.bytes.end());
        ends.push_back(sent.size());
    }
    std::size_t received = 0, differing = 0, piece = 0;
    std::vector<double> delays_s;
    reader->inputs(
        [&](const ChunkRecord& chunk, std::span<const std::byte> bytes) {
            for (const std::byte byte : bytes) {
                if (received >= sent.size() || sent[received] != byte) ++differing;
                ++received;
                for (; piece < ends.size() && ends[piece] <= received; ++piece)
                    delays_s.push_back(1e-9 * static_cast<double>(chunk.utc_rx_ns - sent_utc_ns[piece]));
            }
        },
        [](const ActionRecord&) {});
    std::printf("  sent %zu bytes in %zu pieces, recorded %zu: lost %lld, different %zu\n", sent.size(), pieces.size(),
                received, static_cast<long long>(sent.size()) - static_cast<long long>(received), differing);
    std::printf("  received after it was sent   p50 %.2f ms   p99 %.2f ms   worst %.1f ms\n",
                1e3 * quantile(delays_s, 0.5), 1e3 * quantile(delays_s, 0.99), 1e3 * quantile(delays_s, 1));
}

} // namespace

int main() {
    try {
        const double lasts_min = minutes();
        const std::vector<Sent> pieces = demo_bytes(1, 60 * lasts_min);
        const Terminal terminal;
        ServerProcess server(terminal.path());
        std::printf(
            "soak: %.0f minutes of a day (1 to %.0f), a flight every two minutes, a watcher, a visitor each 10 s\n",
            lasts_min, kDay_min / lasts_min);
        std::vector<Sample> samples;
        std::vector<double> ages, visits;
        std::vector<std::int64_t> sent_utc_ns;
        double cpu_s = 0;
        std::size_t failed = 0;
        {
            Watcher watcher(server.port());
            std::thread sender([&] { sent_utc_ns = send_all(terminal, pieces); });
            const auto start = Clock::now();
            for (int tick = 1; tick <= static_cast<int>(6 * lasts_min); ++tick) {
                std::this_thread::sleep_until(start + tick * 10s);
                const double visit = honest_visit(server.port());
                if (visit >= 0)
                    visits.push_back(visit);
                else
                    ++failed;
                if (tick % 6 != 0) continue;
                samples.push_back({tick / 6.0, server.resident_mb(), file_mb(server.recordings())});
                const std::vector<double> minute = watcher.take();
                ages.insert(ages.end(), minute.begin(), minute.end());
                std::printf("  %4.0f min  resident %6.1f MB  file %7.2f MB  stream p99 %6.1f ms  worst %6.1f ms\n",
                            samples.back().t_min, samples.back().resident_mb, samples.back().file_mb,
                            minute.empty() ? std::nan("") : 1e3 * quantile(minute, 0.99),
                            minute.empty() ? std::nan("") : 1e3 * quantile(minute, 1));
                std::fflush(stdout);
            }
            sender.join();
            cpu_s = server.cpu_s();
        }
        std::this_thread::sleep_for(1s);
        server.stop();
        print_received(server.recordings(), pieces, sent_utc_ns);
        std::printf("  shown after the soonest      p50 %.2f ms   p99 %.2f ms   worst %.1f ms\n",
                    1e3 * quantile(ages, 0.5), 1e3 * quantile(ages, 0.99), 1e3 * quantile(ages, 1));
        std::printf("  visits %zu, failed %zu, p99 %.0f ms; server %.1f %% of a core\n", visits.size() + failed, failed,
                    1e3 * quantile(visits, 0.99), 100 * cpu_s / (60 * lasts_min));
        std::printf("  growth: memory %.2f MB an hour, file %.1f MB an hour, %.2f GB a day\n",
                    60 * growth_per_minute(samples, &Sample::resident_mb),
                    60 * growth_per_minute(samples, &Sample::file_mb),
                    1e-3 * kDay_min * growth_per_minute(samples, &Sample::file_mb));
        return 0;
    } catch (const std::exception& error) {
        std::fprintf(stderr, "bench_soak: %s\n", error.what());
        return 1;
    }
}
