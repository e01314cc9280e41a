// The real server process on a pseudo-terminal: how long a packet takes from the serial line to a browser's WebSocket,
// beside a bare relay (serial read -> Beast WebSocket write); and the memory and CPU of the idle and the loaded server.
#include <algorithm>
#include <array>
#include <atomic>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <span>
#include <stdexcept>
#include <string>
#include <thread>
#include <vector>

#include <fcntl.h>
#include <unistd.h>

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/websocket/stream.hpp>

#include "tools/benchmarks/frames.hpp"
#include "tools/benchmarks/measure.hpp"
#include "tools/benchmarks/server_process.hpp"
#include "tools/benchmarks/visitors.hpp"

namespace {

using namespace turnstone;
using namespace std::chrono_literals;
using bench::asio::ip::tcp, bench::Clock, bench::connect, bench::kMarks, bench::latencies_ms, bench::MarkReader,
    bench::Stream;
namespace asio = bench::asio;
namespace beast = bench::beast;

void report(const char* name, const std::vector<double>& values) {
    std::printf("  %-44s p50 %7.3f ms   p99 %7.3f ms   worst %7.3f ms\n", name, bench::quantile(values, 0.5),
                bench::quantile(values, 0.99), bench::quantile(values, 1));
}

/// A boat and a weather station that speak without pause: 50 sentences a second each, nearly what 38400 baud carry.
class Machines {
  public:
    Machines()
        : thread_([this] {
              const auto boat = sentence("IIRPM,E,1,900,,A"), wind = sentence("WIMWV,250.0,T,3.2,M,A");
              for (auto next = Clock::now(); !stopping_; std::this_thread::sleep_until(next += 20ms)) {
                  boat_.write(boat);
                  mast_.write(wind);
              }
          }) {}
    ~Machines() {
        stopping_ = true;
        thread_.join();
    }
    Machines(const Machines&) = delete;
    Machines& operator=(const Machines&) = delete;
    [[nodiscard]] std::vector<std::string> options() const {
        const auto link = [](const bench::Terminal& terminal, const std::string& vehicle) {
            return "serial:" + terminal.path() + "?baud=38400&framing=nmea&vehicle=" + vehicle + "&name=" + vehicle;
        };
        return {"--vehicle", bench::source("tools/demo/petrel"), "--link", link(boat_, "petrel"),
                "--vehicle", bench::source("tools/demo/mast"),   "--link", link(mast_, "mast")};
    }

  private:
    /// With its checksum (NMEA 0183: the exclusive or of what lies between $ and *).
    static std::vector<std::byte> sentence(const std::string& text) {
        unsigned sum = 0;
        for (const char c : text) sum ^= static_cast<unsigned char>(c);
        std::array<char, 4> tail{};
        std::snprintf(tail.data(), tail.size(), "*%02X", sum);
        const std::string line = "$" + text + tail.data() + "\r\n";
        const auto bytes = std::as_bytes(std::span(line));
        return {bytes.begin(), bytes.end()};
    }

    bench::Terminal boat_, mast_;
    std::atomic<bool> stopping_ = false;
    std::thread thread_;
};

std::vector<double> through_server(bool with_machines) {
    const bench::Terminal terminal;
    std::optional<Machines> machines;
    if (with_machines) machines.emplace();
    const bench::ServerProcess server(terminal.path(), machines ? machines->options() : std::vector<std::string>{});
    asio::io_context context;
    const auto stream = connect(context, server.port(), "/api/stream");
    MarkReader marks(*stream);
    auto result = latencies_ms(terminal, 20ms, [&] { return marks.next(); });
    machines.reset(); // while somebody still reads what they say
    return result;
}

/// Appends what it is given to a file and has the disk confirm it ten times a second, and does nothing else.
class BareRecorder {
  public:
    BareRecorder() : file_(::open(path_.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0644)) {
        if (file_ < 0) throw std::runtime_error("cannot write " + path_.string());
        thread_ = std::thread([this] {
            while (!stopping_) {
                std::this_thread::sleep_for(100ms);
                std::vector<std::byte> bytes;
                {
                    const std::lock_guard lock(mutex_);
                    bytes.swap(waiting_);
                }
                if (::write(file_, bytes.data(), bytes.size()) < 0 || ::fdatasync(file_) != 0) return;
            }
        });
    }
    ~BareRecorder() {
        stopping_ = true;
        thread_.join();
        ::close(file_);
        std::filesystem::remove(path_);
    }
    BareRecorder(const BareRecorder&) = delete;
    BareRecorder& operator=(const BareRecorder&) = delete;
    void append(std::span<const std::byte> bytes) {
        const std::lock_guard lock(mutex_);
        waiting_.insert(waiting_.end(), bytes.begin(), bytes.end());
    }

  private:
    const std::filesystem::path path_ =
        std::filesystem::temp_directory_path() / ("turnstone-bench-" + std::to_string(::getpid()) + ".bytes");
    const int file_;
    std::mutex mutex_;
    std::vector<std::byte> waiting_;
    std::atomic<bool> stopping_ = false;
    std::thread thread_;
};

/// The least possible: bytes read from the terminal go out as a WebSocket message as they are.
std::vector<double> through_bare_relay(bool records) {
    const bench::Terminal terminal;
    std::optional<BareRecorder> recorder;
    if (records) recorder.emplace();
    asio::io_context relay_context;
    tcp::acceptor acceptor(relay_context, {asio::ip::address_v4::loopback(), 0});
    std::thread relay([&] {
        Stream stream(acceptor.accept());
        stream.next_layer().set_option(tcp::no_delay(true));
        stream.accept();
        stream.binary(true);
        asio::posix::stream_descriptor serial(relay_context, ::dup(terminal.slave()));
        std::array<std::byte, 4096> bytes{};
        std::size_t delimiters = 0;
        while (delimiters < kMarks) {
            const std::size_t size = serial.read_some(asio::buffer(bytes));
            delimiters += static_cast<std::size_t>(
                std::count(bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(size), std::byte{0}));
            if (recorder) recorder->append(std::span(bytes).first(size));
            stream.write(asio::buffer(bytes, size));
        }
    });
    asio::io_context context;
    const auto stream = connect(context, acceptor.local_endpoint().port(), "/");
    int marks = -1;
    auto result = latencies_ms(terminal, 20ms, [&] {
        beast::flat_buffer buffer;
        stream->read(buffer);
        const auto* data = static_cast<const char*>(buffer.data().data());
        marks += static_cast<int>(std::count(data, data + buffer.size(), '\0'));
        return marks;
    });
    relay.join();
    return result;
}

void resources() {
    const bench::Terminal terminal;
    const bench::ServerProcess server(terminal.path());
    std::this_thread::sleep_for(2s);
    const double idle_start = server.cpu_s();
    std::this_thread::sleep_for(5s);
    std::printf("server: idle %.1f MB resident, %.1f %% of a core\n", server.resident_mb(),
                (server.cpu_s() - idle_start) / 5 * 100);

    asio::io_context context;
    std::vector<std::unique_ptr<Stream>> viewers;
    std::vector<beast::flat_buffer> buffers(50);
    std::function<void(std::size_t)> read = [&](std::size_t k) {
        viewers[k]->async_read(buffers[k], [&, k](boost::system::error_code error, std::size_t) {
            buffers[k].consume(buffers[k].size());
            if (!error) read(k);
        });
    };
    for (std::size_t k = 0; k < buffers.size(); ++k) {
        viewers.push_back(connect(context, server.port(), "/api/stream"));
        read(k);
    }
    std::thread reader([&] { context.run(); });
    const Dictionary dictionary = bench::demo_dictionary();
    bench::FrameMaker maker(dictionary, 0);
    std::vector<std::byte> link;
    const double load_start = server.cpu_s();
    const auto start = Clock::now();
    for (int k = 0; k < 200 * 15; ++k) {
        std::this_thread::sleep_until(start + k * 5ms);
        link.clear();
        maker.append(link, static_cast<std::uint32_t>(k * 5), static_cast<std::uint16_t>(k % 4096));
        terminal.write(link);
    }
    std::printf("server: 200 packets/s (800 inertial samples/s, every estimator), 50 viewers: %.1f MB resident, %.1f "
                "%% of a core\n",
                server.resident_mb(), (server.cpu_s() - load_start) / 15 * 100);
    context.stop();
    reader.join();
}

} // namespace

int main() {
    try {
        const auto relay = through_bare_relay(false), recording_relay = through_bare_relay(true);
        const auto server = through_server(false), beside_machines = through_server(true);
        std::printf("latency: serial line to WebSocket client, 50 packets/s\n");
        report("limit: bare relay, serial read -> Beast write", relay);
        report("the same beside a thread that appends and syncs", recording_relay);
        report("turnstone serve", server);
        report("the same with a boat and a weather station beside", beside_machines);
        std::printf("  ratio to the limit, p99: %.2f\n", bench::quantile(relay, 0.99) / bench::quantile(server, 0.99));
        resources();
        return 0;
    } catch (const std::exception& error) {
        std::fprintf(stderr, "bench_server: %s\n", error.what());
        return 1;
    }
}
