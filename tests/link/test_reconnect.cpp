// Links that cannot be opened, or not for long: nobody waits for them, and they do not fill the log.
#include <atomic>
#include <condition_variable>
#include <mutex>

#include <boost/asio/buffer.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/write.hpp>

#include "server/link/name_lookup.hpp"
#include "tests/link/link_watch.hpp"

using namespace turnstone;
using namespace std::chrono_literals;
using boost::asio::ip::tcp;

namespace {

/// A name server that does not answer before it is let go.
class StuckNames {
  public:
    Resolve resolve() {
        return [state = state_](const std::string&, std::uint16_t port) {
            std::unique_lock lock(state->mutex);
            ++state->asked;
            state->changed.notify_all();
            state->changed.wait(
                lock, [&] { return state->released; });
            return Addresses{{}, {tcp::endpoint(boost::asio::ip::address_v4::loopback(), port)}};
        };
    }
    bool is_asked() {
        std::unique_lock lock(state_->mutex);
        return state_->changed.wait_for(lock, 10s, [&] { return state_->asked > 0; });
    }
    unsigned asked() {
        const std::lock_guard lock(state_->mutex);
        return state_->asked;
    }
    void release() {
        const std::lock_guard lock(state_->mutex);
        state_->released = true;
        state_->changed.notify_all();
    }

  private:
    struct State {
        std::mutex mutex;
        std::condition_variable changed;
        unsigned asked = 0;
        bool released = false;
    };
    std::shared_ptr<State> state_ = std::make_shared<State>(); // the look-up outlives its test
};

LinkWatch::Make tcp_link(std::uint16_t port, Resolve resolve) {
    return [port, resolve = std::move(resolve)](boost::asio::io_context& context, LinkHandler handler) {
        return make_tcp_link(context, TcpSource{"tracker.local", port}, std::move(handler), resolve);
    };
}

} // namespace

TEST_CASE("A name server that does not answer holds up neither stop nor the end") {
    StuckNames names;
    {
        LinkWatch watch(tcp_link(9000, names.resolve()));
        REQUIRE(names.is_asked());
    } // stops the link and ends its io_context: this returns while the look-up still hangs
    CHECK(names.asked() == 1);
    names.release();
}

TEST_CASE("A name server that does not answer is said so, is asked once at a time, and its answer is taken") {
    boost::asio::io_context context;
    tcp::acceptor acceptor(context, tcp::endpoint(boost::asio::ip::address_v4::loopback(), 0));
    StuckNames names;
    LinkWatch watch(tcp_link(acceptor.local_endpoint().port(), names.resolve()));
    REQUIRE(watch.reaches("cannot_open"));
    CHECK(watch.detail() == "tracker.local port " + std::to_string(acceptor.local_endpoint().port()) +
                                ": the name server did not answer within 5 s");
    names.release();
    REQUIRE(watch.reaches("open"));
    CHECK(names.asked() <= 2);
}

TEST_CASE("A peer that closes at once, with or without a byte, is told twice and then when it stays") {
    for (const std::string_view greeting : {"", "x"}) {
        INFO("greeting \"" << greeting << "\"");
        boost::asio::io_context context;
        tcp::acceptor acceptor(context, tcp::endpoint(boost::asio::ip::address_v4::loopback(), 0));
        LinkWatch watch("tcp://127.0.0.1:" + std::to_string(acceptor.local_endpoint().port()));
        const std::vector<std::string> told{"opening", "open", "lost", "open", "lost"};
        for (int k = 0; k < 3; ++k) {
            tcp::socket server = acceptor.accept();
            boost::asio::write(server, boost::asio::buffer(greeting));
        }
        {
            tcp::socket stays = acceptor.accept();
            // Not open again before it has stood for 3 s.
            CHECK(watch.states() == told);
            std::this_thread::sleep_for(2s);
            boost::asio::write(stays, boost::asio::buffer(std::string_view("data")));
            REQUIRE(watch.receives(greeting.empty() ? "data" : "xxxdata"));
            REQUIRE(watch.reaches("open"));
            CHECK(watch.states().size() == told.size() + 1);
        }
        // It stood, so its end and the next opening are news again.
        REQUIRE(watch.reaches("lost"));
        const tcp::socket next = acceptor.accept();
        REQUIRE(watch.reaches("open"));
    }
}

TEST_CASE("Openings that do not last are counted in what the link says") {
    boost::asio::io_context context;
    tcp::acceptor acceptor(context, tcp::endpoint(boost::asio::ip::address_v4::loopback(), 0));
    LinkWatch watch("tcp://127.0.0.1:" + std::to_string(acceptor.local_endpoint().port()));
    for (int k = 0; k < 12; ++k) {
        tcp::socket server = acceptor.accept();
        boost::asio::write(server, boost::asio::buffer(std::string_view("x"))); // a byte keeps the retries quick
    }
    REQUIRE(watch.receives_bytes(12));
    CHECK(watch.states() == std::vector<std::string>{"opening", "open", "lost", "open", "lost", "lost"});
    CHECK_THAT(watch.detail(), Catch::EndsWith("closed the connection, 10 times in a row within 3 s"));
}
