// Against the kernel's own sockets and files.
#include <atomic>
#include <cmath>
#include <filesystem>
#include <fstream>

#include <boost/asio/buffer.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/ip/udp.hpp>
#include <boost/asio/write.hpp>
#include <unistd.h>

#include <nlohmann/json.hpp>

#include "server/link/recorded_time.hpp"
#include "tests/link/link_watch.hpp"
#include "tests/support/allocations.hpp"
#include "tests/support/hex.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;
using namespace turnstone::test;
using namespace std::chrono_literals;
using boost::asio::ip::tcp;
using boost::asio::ip::udp;

namespace {

class Sender {
  public:
    Sender() : socket_(context_, udp::v4()) {}
    void send(std::uint16_t port, std::string_view text) {
        socket_.send_to(boost::asio::buffer(text), {boost::asio::ip::address_v4::loopback(), port});
    }

  private:
    boost::asio::io_context context_;
    udp::socket socket_;
};

std::uint16_t free_udp_port() {
    boost::asio::io_context context;
    return udp::socket(context, udp::endpoint(boost::asio::ip::address_v4::loopback(), 0)).local_endpoint().port();
}

std::filesystem::path capture(const std::string& text) {
    auto path = std::filesystem::temp_directory_path() / ("turnstone-capture-" + std::to_string(::getpid()));
    std::ofstream(path, std::ios::binary) << text;
    return path;
}

} // namespace

TEST_CASE("Datagrams come in order, each as its own chunk") {
    const std::uint16_t port = free_udp_port();
    LinkWatch watch("udp://127.0.0.1:" + std::to_string(port));
    REQUIRE(watch.reaches("open"));
    Sender sender;
    std::string all;
    for (int i = 0; i < 200; ++i) {
        const std::string datagram(static_cast<std::size_t>(1 + i), static_cast<char>('a' + i % 26));
        sender.send(port, datagram);
        all += datagram;
    }
    sender.send(port, "");
    sender.send(port, std::string(60000, 'z'));
    all += std::string(60000, 'z');
    REQUIRE(watch.receives(all));
    CHECK(watch.chunks() == 201);
}

TEST_CASE("A datagram port that is taken cannot be opened until it is free") {
    boost::asio::io_context context;
    udp::socket holder(context, udp::endpoint(boost::asio::ip::address_v4::loopback(), 0));
    const std::uint16_t port = holder.local_endpoint().port();
    LinkWatch watch("udp://127.0.0.1:" + std::to_string(port));
    REQUIRE(watch.reaches("cannot_open"));
    CHECK_THAT(watch.detail(), Catch::Contains("Address already in use"));
    holder.close();
    REQUIRE(watch.reaches("open"));
}

TEST_CASE("A server that drops the connection is connected again") {
    boost::asio::io_context context;
    tcp::acceptor acceptor(context, tcp::endpoint(boost::asio::ip::address_v4::loopback(), 0));
    const auto endpoint = acceptor.local_endpoint();
    LinkWatch watch("tcp://localhost:" + std::to_string(endpoint.port()));
    {
        tcp::socket server = acceptor.accept();
        boost::asio::write(server, boost::asio::buffer(std::string_view("first ")));
        REQUIRE(watch.receives("first "));
    }
    REQUIRE(watch.reaches("lost"));
    CHECK_THAT(watch.detail(), Catch::EndsWith("closed the connection"));
    {
        tcp::socket server = acceptor.accept();
        boost::asio::write(server, boost::asio::buffer(std::string_view("second")));
        REQUIRE(watch.receives("first second"));
        acceptor.close();
    }
    REQUIRE(watch.reaches("lost"));
    tcp::acceptor later(context, endpoint);
    tcp::socket server = later.accept();
    CHECK(watch.reaches("no_data")); // said once it stands, after two that did not
}

TEST_CASE("A server that is not there cannot be opened and is named") {
    boost::asio::io_context context;
    const std::uint16_t port =
        tcp::acceptor(context, tcp::endpoint(boost::asio::ip::address_v4::loopback(), 0)).local_endpoint().port();
    LinkWatch watch("tcp://127.0.0.1:" + std::to_string(port));
    REQUIRE(watch.reaches("cannot_open"));
    CHECK(watch.detail() == "127.0.0.1 port " + std::to_string(port) + " cannot be reached (Connection refused)");
}

TEST_CASE("A capture is read to its end, paced or not, but waits for a reader that asks it to") {
    std::string text(1'000'000, '\0');
    for (std::size_t i = 0; i < text.size(); ++i) text[i] = static_cast<char>(i * 2654435761u >> 13);
    const auto path = capture(text);
    for (const char* pace : {"", "?pace=100000000"}) {
        INFO("file" << pace);
        std::atomic<bool> open_gate{false};
        LinkWatch watch("file:" + path.string() + pace, [&open_gate] { return open_gate.load(); });
        CHECK_FALSE(watch.receives_bytes(1, 200ms));
        open_gate = true;
        REQUIRE(watch.reaches("end_of_file"));
        CHECK(watch.text() == text);
    }
    std::filesystem::remove(path);
}

TEST_CASE("A capture that is told to wait is not silent") {
    const auto path = capture(std::string(100, 'x'));
    LinkWatch watch("file:" + path.string(), [] { return false; });
    REQUIRE(watch.reaches("open"));
    CHECK_FALSE(watch.reaches("no_data", 3500ms));
    std::filesystem::remove(path);
}

TEST_CASE("A paced capture takes as long as the line would have") {
    // 2880 bytes of ten bits at 57600 bits a second: half a second.
    const auto path = capture(std::string(2880, 'x'));
    const auto begin = std::chrono::steady_clock::now();
    LinkWatch watch("file:" + path.string() + "?pace=57600");
    REQUIRE(watch.reaches("end_of_file"));
    const std::chrono::duration<double> took = std::chrono::steady_clock::now() - begin;
    CHECK(watch.text().size() == 2880);
    CHECK(took.count() >= 0.5);
    CHECK(took.count() < 2.0);
    std::filesystem::remove(path);
}

TEST_CASE("Of a packet capture the payloads come, with the times that it has") {
    // Datagrams and times as tshark 4.0.17 dissects them.
    const std::string path = source_path("tests/reference/captures/ethernet.pcapng").string();
    const nlohmann::json captures = read_json(source_path("tests/reference/captures/captures.json"));
    std::string expected;
    std::vector<std::int64_t> times;
    for (const auto& capture : captures.at("captures")) {
        if (capture.at("file") != "ethernet.pcapng") continue;
        for (const auto& datagram : capture.at("datagrams")) {
            expected += text_from_hex(datagram.at("payload_hex").get<std::string>());
            times.push_back(std::llround(std::stod(datagram.at("t_epoch").get<std::string>()) * 1e6) * 1000);
        }
    }
    for (const char* option : {"", "?pace=1000000"}) {
        LinkWatch watch("file:" + path + option);
        REQUIRE(watch.reaches("end_of_file"));
        CHECK(watch.text() == expected);
        CHECK(watch.chunks() == times.size());
    }
    // Twelve seconds apart in the file, and so for who asks.
    boost::asio::io_context context;
    std::vector<std::int64_t> seen;
    LinkHandler handler;
    handler.on_bytes = [](std::int64_t, std::int64_t, std::span<const std::byte>) { FAIL(); };
    handler.on_timed_bytes = [&](std::int64_t t_rx_ns, std::int64_t, std::span<const std::byte>) {
        seen.push_back(t_rx_ns);
    };
    std::string detail = "none";
    handler.on_state = [&](std::int64_t, LinkState, const std::string& told) { detail = told; };
    const auto link = make_link(context, *parse_link_uri("file:" + path), handler);
    link->start();
    context.run();
    link->stop();
    REQUIRE(seen.size() == times.size());
    for (std::size_t k = 0; k < seen.size(); ++k) CHECK(std::abs(seen[k] - seen[0] - (times[k] - times[0])) < 2000);
    CHECK(detail.empty());
}

TEST_CASE("A packet capture without what was asked for says so at its end") {
    const std::string path = source_path("tests/reference/captures/ethernet.pcap").string();
    LinkWatch watch("file:" + path + "?udp_port=77");
    REQUIRE(watch.reaches("end_of_file"));
    CHECK_THAT(watch.detail(), Catch::Contains("no UDP datagram to port 77"));
    LinkWatch raw("file:" + source_path("README.md").string() + "?udp_port=77");
    REQUIRE(raw.reaches("cannot_open"));
    CHECK_THAT(raw.detail(), Catch::Contains("is not a packet capture"));
}

TEST_CASE("Times of a record go on as they were recorded, but never back, and no night long") {
    RecordedTime time;
    constexpr std::int64_t kSecond = 1'000'000'000;
    CHECK(time.now_for(-1, 100) == 100);
    CHECK(time.now_for(50 * kSecond, 200) == 100);
    CHECK(time.now_for(52 * kSecond, 300) == 100 + 2 * kSecond);
    CHECK(time.now_for(-1, 300) == 100 + 2 * kSecond);
    CHECK(time.now_for(51 * kSecond, 300) == 100 + 2 * kSecond);
    CHECK(time.now_for(53 * kSecond, 300) == 100 + 3 * kSecond);
    CHECK(time.now_for(53 * kSecond + 86'400 * kSecond, 300) == 100 + 4 * kSecond);
}

TEST_CASE("A capture that is missing or not a regular file cannot be opened") {
    LinkWatch missing("file:/nonexistent.bin");
    CHECK(missing.reaches("cannot_open"));
    CHECK(missing.detail() == "/nonexistent.bin cannot be opened (No such file or directory)");
    LinkWatch directory("file:/tmp");
    CHECK(directory.reaches("cannot_open"));
    CHECK(directory.detail() == "/tmp is not a regular file; a file link reads a raw capture");
}

TEST_CASE("Reading allocates nothing once it runs") {
    const std::uint16_t port = free_udp_port();
    boost::asio::io_context context;
    std::atomic<long> allocations{0};
    std::atomic<long> received{0};
    const auto link = make_link(context, parse_link_uri("udp://127.0.0.1:" + std::to_string(port)).value(),
                                {.on_bytes =
                                     [&](std::int64_t, std::int64_t, std::span<const std::byte>) {
                                         // The first reads fill Asio's own store of handler memory.
                                         if (++received == 50) test::allocation_counter = &allocations;
                                     },
                                 .on_state = [](std::int64_t, LinkState, const std::string&) {},
                                 .may_read = {}});
    link->start();
    std::thread thread([&] {
        context.run();
        test::allocation_counter = nullptr;
    });
    Sender sender;
    for (int i = 0; i < 1000; ++i) {
        sender.send(port, "a packet's worth of bytes");
        if (i % 10 == 0) std::this_thread::sleep_for(200us);
    }
    for (int i = 0; i < 500 && received < 1000; ++i) std::this_thread::sleep_for(10ms);
    CHECK(received == 1000);
    CHECK(allocations == 0);
    boost::asio::post(context, [&] {
        test::allocation_counter = nullptr;
        link->stop();
    });
    thread.join();
}
