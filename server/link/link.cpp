#include "server/link/link.hpp"

#include "server/link/retrying_link.hpp"

namespace turnstone {

namespace {

/// Owns the shared link, so that whoever drops it stops it.
class OwnedLink final : public Link {
  public:
    explicit OwnedLink(std::shared_ptr<RetryingLink> link) : link_(std::move(link)) {}
    ~OwnedLink() override { link_->stop(); }
    OwnedLink(const OwnedLink&) = delete;
    OwnedLink& operator=(const OwnedLink&) = delete;
    void start() override { link_->start(); }
    void stop() override { link_->stop(); }

  private:
    std::shared_ptr<RetryingLink> link_;
};

} // namespace

std::unique_ptr<Link> make_link(boost::asio::io_context& context, const LinkUri& uri, LinkHandler handler) {
    struct Maker {
        boost::asio::io_context& context;
        LinkHandler& handler;
        std::shared_ptr<RetryingLink> operator()(const SerialSource& source) const {
            return make_serial_link(context, source, std::move(handler));
        }
        std::shared_ptr<RetryingLink> operator()(const UdpSource& source) const {
            return make_udp_link(context, source, std::move(handler));
        }
        std::shared_ptr<RetryingLink> operator()(const TcpSource& source) const {
            return make_tcp_link(context, source, std::move(handler));
        }
        std::shared_ptr<RetryingLink> operator()(const FileSource& source) const {
            return make_file_link(context, source, std::move(handler));
        }
    };
    return std::make_unique<OwnedLink>(std::visit(Maker{context, handler}, uri.source));
}

} // namespace turnstone
