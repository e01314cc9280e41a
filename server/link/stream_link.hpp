#pragma once
/// What a serial port and a TCP connection share: an Asio stream, read as its bytes come until it fails.
#include <array>

#include <boost/asio/buffer.hpp>

#include "server/link/link.hpp"

namespace turnstone {

template <class Stream>
class StreamLink : public Link {
  protected:
    StreamLink(boost::asio::io_context& context, LinkHandler handler)
        : Link(context, std::move(handler)), stream_(context) {}

    /// Why the stream ended, for a person.
    [[nodiscard]] virtual std::string failure(const boost::system::error_code& error) const = 0;

    void close() noexcept override {
        boost::system::error_code ignored; // the descriptor is gone either way
        stream_.close(ignored);
    }

    [[nodiscard]] Stream& stream() noexcept { return stream_; }

  private:
    void read() final {
        stream_.async_read_some(
            boost::asio::buffer(buffer_),
            [self = self<StreamLink>()](const boost::system::error_code& error, std::size_t size) {
                self->on_read(error, size);
            });
    }

    void on_read(const boost::system::error_code& error, std::size_t size) {
        if (stopped()) return;
        if (error) {
            lost(failure(error));
            return;
        }
        received({buffer_.data(), size});
        if (!stopped()) read();
    }

    Stream stream_;
    std::array<std::byte, 16384> buffer_{};
};

} // namespace turnstone
