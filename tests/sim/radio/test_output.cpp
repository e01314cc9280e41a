/// Bytes come out of a real pseudo-terminal, socket and file exactly as delivered.
#include <atomic>
#include <cerrno>
#include <filesystem>
#include <thread>

#include <arpa/inet.h>
#include <fcntl.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include "tests/sim/support.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tools/sim/radio/sender.hpp"

using namespace turnstone;
using namespace turnstone::sim;

namespace {

/// A short run on the rail.
DeliveredStream short_stream() {
    Scenario scenario = demo_scenario("on-the-rail");
    scenario.before_ignition_s = 3.0;
    scenario.after_touchdown_s = 1.0;
    return fly(scenario, 1).received;
}

/// The bytes in the order in which they are played.
std::vector<std::uint8_t> in_order(const DeliveredStream& stream) {
    std::vector<std::uint8_t> bytes;
    for (const Delivery& delivery : stream.deliveries) {
        const auto begin = stream.bytes.begin() + static_cast<std::ptrdiff_t>(delivery.offset);
        bytes.insert(bytes.end(), begin, begin + static_cast<std::ptrdiff_t>(delivery.size));
    }
    return bytes;
}

/// Reads until the other side hangs up, `size` bytes came or nothing comes for 2 s.
std::vector<std::uint8_t> read_all(int fd, std::size_t size) {
    std::vector<std::uint8_t> bytes;
    std::uint8_t buffer[4096];
    while (bytes.size() < size) {
        pollfd waiting{fd, POLLIN, 0};
        if (::poll(&waiting, 1, 2000) <= 0) break;
        const ssize_t count = ::read(fd, buffer, sizeof buffer);
        if (count <= 0) break;
        bytes.insert(bytes.end(), buffer, buffer + count);
    }
    return bytes;
}

} // namespace

TEST_CASE("A pseudo-terminal carries every byte, also faster than real time") {
    const TemporaryFolder folder;
    const std::string link = (folder.path() / "radio").string();
    const DeliveredStream stream = short_stream();
    const std::vector<std::uint8_t> expected = in_order(stream);
    auto output = open_output("pty:" + link);
    REQUIRE(output);
    CHECK_FALSE((*output)->wait_for_reader(0.02));
    const int reader = ::open(link.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK);
    REQUIRE(reader >= 0);
    CHECK((*output)->wait_for_reader(1.0));
    std::atomic<bool> stop{false};
    std::thread player([&] { (void)play(stream, **output, 0.0, std::nullopt, stop); });
    const std::vector<std::uint8_t> received = read_all(reader, expected.size());
    player.join();
    ::close(reader);
    CHECK(received == expected);
    output->reset();
    CHECK_FALSE(std::filesystem::exists(std::filesystem::symlink_status(link)));
}

TEST_CASE("An unplugged pseudo-terminal hangs up and comes back under the same name") {
    const TemporaryFolder folder;
    const std::string link = (folder.path() / "radio").string();
    auto output = open_output("pty:" + link);
    REQUIRE(output);
    const DeliveredStream stream = short_stream();
    const int before = ::open(link.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK);
    REQUIRE(before >= 0);
    std::atomic<bool> stop{false};
    std::thread player([&] { (void)play(stream, **output, 4.0, Unplugged{1.0, 2.0}, stop); });
    const std::size_t all = in_order(stream).size();
    const std::vector<std::uint8_t> first = read_all(before, all);
    ::close(before);
    int after = -1;
    for (int i = 0; i < 200 && after < 0; ++i) {
        std::this_thread::sleep_for(std::chrono::milliseconds(10));
        after = ::open(link.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK);
    }
    REQUIRE(after >= 0);
    const std::vector<std::uint8_t> second = read_all(after, all);
    player.join();
    ::close(after);
    CHECK(first.size() > all / 8);
    CHECK(second.size() > all / 8);
    CHECK(first.size() + second.size() < all * 9 / 10);
}

TEST_CASE("A file and a TCP client get what was delivered") {
    const TemporaryFolder folder;
    const DeliveredStream stream = short_stream();
    const std::vector<std::uint8_t> expected = in_order(stream);
    std::atomic<bool> stop{false};
    const std::string path = (folder.path() / "capture.bin").string();
    {
        auto output = open_output("file:" + path);
        REQUIRE(output);
        REQUIRE(play(stream, **output, 0.0, std::nullopt, stop));
    }
    CHECK(read_file(path) == std::string(expected.begin(), expected.end()));

    // A port of this machine that is free: bound, read back and released.
    int probe = ::socket(AF_INET, SOCK_STREAM, 0);
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t size = sizeof address;
    REQUIRE(::bind(probe, reinterpret_cast<sockaddr*>(&address), size) == 0);
    REQUIRE(::getsockname(probe, reinterpret_cast<sockaddr*>(&address), &size) == 0);
    ::close(probe);
    auto output = open_output("tcp://127.0.0.1:" + std::to_string(ntohs(address.sin_port)));
    REQUIRE(output);
    const int client = ::socket(AF_INET, SOCK_STREAM, 0);
    REQUIRE(::connect(client, reinterpret_cast<sockaddr*>(&address), sizeof address) == 0);
    REQUIRE((*output)->wait_for_reader(1.0));
    std::thread player([&] { (void)play(stream, **output, 0.0, std::nullopt, stop); });
    const std::vector<std::uint8_t> received = read_all(client, expected.size());
    player.join();
    ::close(client);
    CHECK(received == expected);
}

TEST_CASE("Wrong outputs are explained") {
    struct Case {
        const char* uri;
        const char* message;
    };
    const Case cases[] = {
        {"", "output \"\" starts with no known scheme; expected pty:PATH, udp://HOST:PORT, tcp://ADDRESS:PORT or "
             "file:PATH"},
        {"pty:", "output \"pty:\" names no path; expected pty:PATH"},
        {"udp:127.0.0.1:9000", "output \"udp:127.0.0.1:9000\" lacks // after udp:; expected udp://HOST:PORT"},
        {"tcp://127.0.0.1:70000",
         "output \"tcp://127.0.0.1:70000\" has port \"70000\"; expected tcp://ADDRESS:PORT, a port "
         "from 1 to 65535, IPv6 in brackets"},
        {"file:a?pace=1", "output \"file:a?pace=1\" has option pace; outputs take none"},
        {"tcp://localhost:9000",
         "cannot listen at localhost port 9000: Name or service not known; give an address of this "
         "machine and a free port"},
        {"file:/nonexistent/a", "cannot write /nonexistent/a: No such file or directory"},
        {"pty:/nonexistent/a",
         "cannot make the link /nonexistent/a: No such file or directory; give a path in a folder "
         "you may write to"}};
    for (const Case& one : cases) {
        INFO(one.uri);
        const auto output = open_output(one.uri);
        REQUIRE_FALSE(output);
        CHECK(output.error().message == one.message);
    }
}
