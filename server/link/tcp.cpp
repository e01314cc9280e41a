#include <netinet/tcp.h>
#include <sys/socket.h>

#include <boost/asio/connect.hpp>
#include <boost/asio/ip/tcp.hpp>

#include "server/link/name_lookup.hpp"
#include "server/link/stream_link.hpp"

namespace turnstone {

namespace {

using boost::asio::ip::tcp;

constexpr std::chrono::seconds kConnectTimeout{5};

class TcpLink final : public StreamLink<tcp::socket> {
  public:
    TcpLink(boost::asio::io_context& context, TcpSource source, LinkHandler handler, Resolve resolve)
        : StreamLink(context, std::move(handler)), source_(std::move(source)),
          place_(source_.host + " port " + std::to_string(source_.port)), lookup_(context, std::move(resolve)),
          timeout_(context) {}

  private:
    void open() override {
        timed_out_ = false;
        timeout_.expires_after(kConnectTimeout);
        timeout_.async_wait([self = self<TcpLink>()](const boost::system::error_code& error) {
            if (!error) self->on_timeout();
        });
        looking_up_ = true;
        lookup_.start(source_.host, source_.port,
                      [self = self<TcpLink>()](const Addresses& found) { self->on_found(found); });
    }

    void on_timeout() {
        timed_out_ = true;
        if (looking_up_) {
            cannot_open(place_ + ": the name server did not answer within 5 s");
            return;
        }
        boost::system::error_code ignored; // the connect handler reports
        stream().close(ignored);
    }

    void on_found(const Addresses& found) {
        looking_up_ = false;
        if (stopped()) return;
        if (found.error) {
            on_connected(found.error);
            return;
        }
        boost::asio::async_connect(
            stream(), found.endpoints,
            [self = self<TcpLink>()](const boost::system::error_code& connect_error, const tcp::endpoint&) {
                self->on_connected(connect_error);
            });
    }

    void on_connected(const boost::system::error_code& error) {
        if (stopped()) return;
        timeout_.cancel();
        if (timed_out_) {
            cannot_open(place_ + " did not answer within 5 s");
            return;
        }
        if (error) {
            cannot_open(place_ + " cannot be reached (" + error.message() + ")");
            return;
        }
        // Without keep-alive a peer that lost power only looks silent.
        const auto set = [fd = stream().native_handle()](int level, int option, int value) {
            // A refused option costs only that notice.
            (void)::setsockopt(fd, level, option, &value, sizeof value);
        };
        set(SOL_SOCKET, SO_KEEPALIVE, 1);
        set(IPPROTO_TCP, TCP_KEEPIDLE, 5);
        set(IPPROTO_TCP, TCP_KEEPINTVL, 2);
        set(IPPROTO_TCP, TCP_KEEPCNT, 3);
        opened();
    }

    std::string failure(const boost::system::error_code& error) const override {
        if (error == boost::asio::error::eof) return place_ + " closed the connection";
        return place_ + " was lost (" + error.message() + ")";
    }

    void close() noexcept override {
        timeout_.cancel();
        lookup_.cancel();
        StreamLink::close();
    }

    TcpSource source_;
    std::string place_;
    NameLookup lookup_;
    bool looking_up_ = false;
    boost::asio::steady_timer timeout_;
    bool timed_out_ = false;
};

} // namespace

std::shared_ptr<Link> make_tcp_link(boost::asio::io_context& context, const TcpSource& source, LinkHandler handler,
                                    Resolve resolve) {
    return std::make_shared<TcpLink>(context, source, std::move(handler), std::move(resolve));
}

std::shared_ptr<Link> make_link(boost::asio::io_context& context, const TcpSource& source, LinkHandler handler) {
    return make_tcp_link(context, source, std::move(handler), system_resolve);
}

} // namespace turnstone
