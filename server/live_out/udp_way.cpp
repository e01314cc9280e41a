#include <boost/asio/buffer.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/udp.hpp>

#include "server/live_out/way.hpp"

namespace turnstone {

namespace {

class UdpWay final : public Way {
  public:
    explicit UdpWay(const UdpTarget& target)
        : socket_(context_), to_(boost::asio::ip::make_address(target.address), target.port) {
        socket_.open(to_.protocol());
        socket_.non_blocking(true);
    }
    /// What an Ethernet frame holds with the headers of IPv6 and UDP.
    [[nodiscard]] std::size_t most_bytes() const noexcept override { return 1452; }
    void send(const std::string& lines) override {
        boost::system::error_code ignored; // nobody there, or no room: the next may come through
        socket_.send_to(boost::asio::buffer(lines), to_, 0, ignored);
    }

  private:
    boost::asio::io_context context_;
    boost::asio::ip::udp::socket socket_;
    boost::asio::ip::udp::endpoint to_;
};

} // namespace

std::unique_ptr<Way> make_way(const UdpTarget& target) {
    return std::make_unique<UdpWay>(target);
}

} // namespace turnstone
