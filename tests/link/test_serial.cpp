// Against the kernel's own pseudo-terminals (POSIX.1-2017 posix_openpt, termios).
#include <filesystem>

#include <fcntl.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

#include "tests/link/link_watch.hpp"

using namespace turnstone;
using namespace std::chrono_literals;

namespace {

/// The far end of a pseudo-serial port; the near end has a symbolic link, as a USB adapter's does.
class Port {
  public:
    explicit Port(std::filesystem::path link) : link_(std::move(link)), fd_(::posix_openpt(O_RDWR | O_NOCTTY)) {
        REQUIRE(fd_ >= 0);
        REQUIRE(::grantpt(fd_) == 0);
        REQUIRE(::unlockpt(fd_) == 0);
        name_ = ::ptsname(fd_);
        std::filesystem::remove(link_);
        std::filesystem::create_symlink(name_, link_);
    }
    ~Port() {
        std::filesystem::remove(link_);
        ::close(fd_);
    }
    Port(const Port&) = delete;
    Port& operator=(const Port&) = delete;
    void send(const std::string& text) const {
        REQUIRE(::write(fd_, text.data(), text.size()) == static_cast<ssize_t>(text.size()));
    }
    [[nodiscard]] int fd() const { return fd_; }
    [[nodiscard]] const std::string& name() const { return name_; }

  private:
    std::filesystem::path link_;
    int fd_;
    std::string name_;
};

std::filesystem::path fresh_link(const char* name) {
    return std::filesystem::temp_directory_path() / (std::string(name) + "-" + std::to_string(::getpid()));
}

} // namespace

TEST_CASE("What is wrong with a serial port names the end of a long path") {
    const std::string name = "usb-an_adapter_with_a_long_name_of_its_own-if00-port0";
    LinkWatch watch("serial:" + (std::filesystem::temp_directory_path() / "no-such-folder/by-id" / name).string());
    REQUIRE(watch.reaches("cannot_open"));
    CHECK(watch.detail() == "…/" + name + " does not exist; plug it in or correct the path");
}

TEST_CASE("A serial port that goes away and comes back is read again by itself") {
    const auto link = fresh_link("turnstone-port");
    LinkWatch watch("serial:" + link.string() + "?baud=115200");
    REQUIRE(watch.reaches("cannot_open"));
    CHECK(watch.detail() == link.string() + " does not exist; plug it in or correct the path");
    {
        const Port port(link);
        REQUIRE(watch.reaches("open"));
        // Every byte value comes through unchanged: no line editing, no flow control, no end-of-file
        // character.
        std::string all;
        for (int i = 0; i < 256; ++i) all += static_cast<char>(i);
        port.send(all);
        REQUIRE(watch.receives(all));
    }
    REQUIRE(watch.reaches("lost"));
    {
        const Port port(link);
        REQUIRE(watch.reaches("open"));
        port.send("again");
        REQUIRE(watch.receives_bytes(261));
        CHECK(watch.text().substr(256) == "again");
    }
    REQUIRE(watch.reaches("lost"));
    const auto states = watch.states();
    CHECK(states.front() == "opening");
    // While it was away nothing but the changes was told.
    CHECK(states.size() <= 9);
}

TEST_CASE("The line is set raw, at the rate and parity asked for, and nothing is sent back") {
    const auto link = fresh_link("turnstone-line");
    const Port port(link);
    LinkWatch watch("serial:" + link.string() + "?baud=38400&parity=odd&stop=2");
    REQUIRE(watch.reaches("open"));
    termios line{};
    REQUIRE(::tcgetattr(port.fd(), &line) == 0);
    CHECK(::cfgetospeed(&line) == B38400);
    CHECK((line.c_lflag & (ICANON | ECHO | ISIG)) == 0);
    CHECK((line.c_iflag & (IXON | ICRNL | ISTRIP)) == 0);
    // A pseudo-terminal always says eight bits without parity.
    CHECK((line.c_cflag & CSIZE) == CS8);
    port.send("hello\r\n\x03\x11");
    REQUIRE(watch.receives("hello\r\n\x03\x11"));
    int waiting = -1;
    REQUIRE(::ioctl(port.fd(), FIONREAD, &waiting) == 0);
    CHECK(waiting == 0);
}

TEST_CASE("A port that another program holds cannot be opened until it lets go") {
    const auto link = fresh_link("turnstone-held");
    const Port port(link);
    const int holder = ::open(port.name().c_str(), O_RDONLY | O_NOCTTY);
    REQUIRE(holder >= 0);
    REQUIRE(::flock(holder, LOCK_EX | LOCK_NB) == 0);
    LinkWatch watch("serial:" + link.string());
    REQUIRE(watch.reaches("cannot_open"));
    CHECK(watch.detail() == link.string() + " is in use by another program; close that program");
    ::close(holder);
    REQUIRE(watch.reaches("open"));
    // And what the link holds is kept from others.
    const int second = ::open(port.name().c_str(), O_RDONLY | O_NOCTTY);
    CHECK((second < 0 || ::flock(second, LOCK_EX | LOCK_NB) != 0));
    if (second >= 0) ::close(second);
}

TEST_CASE("A path that is not a serial port cannot be opened, with the reason") {
    LinkWatch watch("serial:/dev/null");
    REQUIRE(watch.reaches("cannot_open"));
    CHECK_THAT(watch.detail(), Catch::StartsWith("/dev/null is not a serial port ("));
}

TEST_CASE("A port without a byte for three seconds has no data, and is open again at the next byte") {
    const auto link = fresh_link("turnstone-silent");
    const Port port(link);
    LinkWatch watch("serial:" + link.string());
    REQUIRE(watch.reaches("open"));
    CHECK_FALSE(watch.reaches("no_data", 2500ms));
    REQUIRE(watch.reaches("no_data", 2000ms));
    port.send("x");
    REQUIRE(watch.reaches("open", 1000ms));
    CHECK(watch.receives("x"));
}
