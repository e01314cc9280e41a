#include <array>

#include <boost/asio/buffer.hpp>
#include <boost/asio/ip/multicast.hpp>
#include <boost/asio/ip/udp.hpp>

#include "server/link/link.hpp"

namespace turnstone {

namespace {

using boost::asio::ip::udp;

/// Asked of the kernel, which may give less, so that a burst survives a busy moment.
constexpr int kReceiveBufferBytes = 4 << 20;
/// Datagrams taken in one go before other links get their turn.
constexpr int kDatagramsPerTurn = 64;

class UdpLink final : public Link {
  public:
    UdpLink(boost::asio::io_context& context, UdpSource source, LinkHandler handler)
        : Link(context, std::move(handler)), source_(std::move(source)), socket_(context) {}

  private:
    void open() override {
        boost::system::error_code error;
        const auto address = boost::asio::ip::make_address(source_.address, error);
        const udp::endpoint endpoint(address, source_.port);
        const auto step = [&error](auto&& call) {
            if (!error) call();
        };
        step([&] { socket_.open(endpoint.protocol(), error); });
        step([&] {
            boost::system::error_code ignored; // a smaller buffer still works
            socket_.set_option(boost::asio::socket_base::receive_buffer_size(kReceiveBufferBytes), ignored);
        });
        if (address.is_multicast()) {
            // Several programs on one machine may listen to the same group.
            step([&] { socket_.set_option(udp::socket::reuse_address(true), error); });
        }
        step([&] { socket_.bind(endpoint, error); });
        if (address.is_multicast())
            step([&] { socket_.set_option(boost::asio::ip::multicast::join_group(address), error); });
        step([&] { socket_.non_blocking(true, error); });
        if (error) {
            cannot_open("udp " + source_.address + " port " + std::to_string(source_.port) + " cannot be opened (" +
                        error.message() + ")");
            return;
        }
        opened();
    }

    void read() override {
        socket_.async_receive_from(
            boost::asio::buffer(buffer_), sender_,
            [self = self<UdpLink>()](boost::system::error_code error, std::size_t size) {
                self->on_read(error, size);
            });
    }

    void on_read(boost::system::error_code error, std::size_t size) {
        for (int turn = 1; !stopped() && !error; ++turn) {
            if (size > 0) received({buffer_.data(), size});
            if (turn == kDatagramsPerTurn || stopped()) break;
            size = socket_.receive_from(boost::asio::buffer(buffer_), sender_, 0, error);
        }
        if (stopped()) return;
        if (error && error != boost::asio::error::would_block && error != boost::asio::error::try_again) {
            lost("udp port " + std::to_string(source_.port) + " failed (" + error.message() + ")");
            return;
        }
        read();
    }

    void close() noexcept override {
        boost::system::error_code ignored; // the socket is gone either way
        socket_.close(ignored);
    }

    UdpSource source_;
    udp::socket socket_;
    udp::endpoint sender_;
    std::array<std::byte, 65536> buffer_{}; // no datagram is larger
};

} // namespace

std::shared_ptr<Link> make_link(boost::asio::io_context& context, const UdpSource& source, LinkHandler handler) {
    return std::make_shared<UdpLink>(context, source, std::move(handler));
}

} // namespace turnstone
