#include "tools/benchmarks/sites/crowd.hpp"

#include <algorithm>
#include <atomic>
#include <cstring>
#include <mutex>
#include <string>
#include <string_view>
#include <utility>

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/websocket/stream.hpp>

namespace turnstone::bench {
namespace {

namespace asio = boost::asio;
namespace beast = boost::beast;
using asio::ip::tcp;
using Clock = std::chrono::steady_clock;

constexpr std::size_t kOfAddress = 40; ///< fewer than a server takes from one
constexpr std::size_t kAgesOf = 20;    ///< one viewer in so many

} // namespace

struct Crowd::State {
    struct Viewer {
        explicit Viewer(asio::io_context& context) : comes(context), stream(context) {}
        asio::steady_timer comes;
        beast::websocket::stream<tcp::socket> stream;
        beast::flat_buffer buffer = {};
    };

    State(std::uint16_t port_in, std::size_t count, std::chrono::milliseconds within_in)
        : port(port_in), within(within_in), viewers(count) {}

    void run() {
        for (std::size_t k = 0; k < viewers.size(); ++k) {
            viewers[k] = std::make_unique<Viewer>(context);
            viewers[k]->comes.expires_after(within * k / viewers.size());
            viewers[k]->comes.async_wait([this, k](beast::error_code error) {
                if (!error) come(k);
            });
        }
        context.run();
    }

    void come(std::size_t k) {
        Viewer& viewer = *viewers[k];
        tcp::socket& socket = viewer.stream.next_layer();
        beast::error_code error;
        socket.open(tcp::v4());
        const std::size_t address = k / kOfAddress + 1;
        const std::string from = "127.0.1." + std::to_string(address);
        socket.bind({asio::ip::make_address_v4(from), 0}, error);
        socket.async_connect({asio::ip::address_v4::loopback(), port}, [this, k](beast::error_code failed) {
            if (failed) {
                ++refused;
                return;
            }
            viewers[k]->stream.async_handshake("127.0.0.1:" + std::to_string(port), "/api/stream",
                                               [this, k](beast::error_code none) {
                                                   ++(none ? refused : connected);
                                                   if (!none) read(k);
                                               });
        });
    }

    void read(std::size_t k) {
        viewers[k]->stream.async_read(
            viewers[k]->buffer,
            [this, k](beast::error_code error, std::size_t size) {
                if (error) {
                    --connected;
                    ++lost;
                    return;
                }
                beast::flat_buffer& buffer = viewers[k]->buffer;
                bytes += size;
                ++messages;
                const std::string_view text(static_cast<const char*>(buffer.data().data()),
                                            std::min<std::size_t>(size, 64));
                if (!viewers[k]->stream.got_binary() && text.find(R"("type":"gap")") != std::string_view::npos) ++gaps;
                constexpr std::size_t kHead = 24, kNewest = 16; // protocol/STREAM.md: when the newest row was received
                if (k % kAgesOf == 0 && viewers[k]->stream.got_binary() && size >= kHead) {
                    double newest_s = 0;
                    std::memcpy(&newest_s, static_cast<const char*>(buffer.data().data()) + kNewest, sizeof newest_s);
                    const std::lock_guard lock(mutex);
                    ages.push_back(std::chrono::duration<double>(Clock::now().time_since_epoch()).count() - newest_s);
                    least = std::min(least, ages.back());
                }
                buffer.consume(buffer.size());
                read(k);
            });
    }

    const std::uint16_t port;
    const std::chrono::milliseconds within;
    asio::io_context context{1};
    std::vector<std::unique_ptr<Viewer>> viewers;
    std::atomic<std::size_t> connected = 0, refused = 0, lost = 0;
    std::atomic<std::uint64_t> bytes = 0, messages = 0, gaps = 0;
    std::mutex mutex; // of what follows
    std::vector<double> ages;
    double least = 1e300;
    std::thread thread;
};

Crowd::Crowd(const Place& place, std::uint16_t port, std::size_t viewers, std::chrono::milliseconds within)
    : state_(std::make_unique<State>(port, viewers, within)) {
    state_->thread = place.thread([state = state_.get()] { state->run(); });
}

Crowd::~Crowd() {
    state_->context.stop();
    state_->thread.join();
}

CrowdFigures Crowd::figures() const {
    return {state_->connected, state_->refused, state_->lost, state_->bytes, state_->messages, state_->gaps};
}

std::vector<double> Crowd::take_ages() {
    const std::lock_guard lock(state_->mutex);
    std::vector<double> ages = std::exchange(state_->ages, {});
    for (double& age : ages) age -= state_->least;
    return ages;
}

} // namespace turnstone::bench
