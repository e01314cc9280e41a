#include "tools/sim/radio/output.hpp"

#include <cerrno>
#include <charconv>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <string>
#include <thread>

#include <arpa/inet.h>
#include <fcntl.h>
#include <netdb.h>
#include <poll.h>
#include <sys/socket.h>
#include <termios.h>
#include <unistd.h>

namespace turnstone::sim {

namespace {

using Clock = std::chrono::steady_clock;

/// An owned file descriptor.
class Descriptor {
  public:
    explicit Descriptor(int fd = -1) : fd_(fd) {}
    Descriptor(const Descriptor&) = delete;
    Descriptor& operator=(const Descriptor&) = delete;
    ~Descriptor() { reset(); }
    void reset(int fd = -1) {
        if (fd_ >= 0) ::close(fd_);
        fd_ = fd;
    }
    [[nodiscard]] int get() const { return fd_; }
    [[nodiscard]] bool open() const { return fd_ >= 0; }

  private:
    int fd_;
};

std::string last_error() {
    return std::strerror(errno);
}

/// Polls `ready` every 5 ms.
template <class Ready>
bool wait_until(double seconds, const Ready& ready) {
    const auto end = Clock::now() + std::chrono::duration<double>(seconds);
    while (!ready()) {
        if (Clock::now() >= end) return false;
        std::this_thread::sleep_for(std::chrono::milliseconds(5));
    }
    return true;
}

class PtyOutput final : public Output {
  public:
    explicit PtyOutput(std::string symlink_path) : symlink_path_(std::move(symlink_path)) {}
    ~PtyOutput() override { unplug(); }
    PtyOutput(const PtyOutput&) = delete;
    PtyOutput& operator=(const PtyOutput&) = delete;

    Result<void> plug() override {
        master_.reset(::posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC));
        if (!master_.open() || ::grantpt(master_.get()) != 0 || ::unlockpt(master_.get()) != 0)
            return fail("no pseudo-terminal could be opened: " + last_error());
        char name[128];
        if (::ptsname_r(master_.get(), name, sizeof name) != 0)
            return fail("the pseudo-terminal has no name: " + last_error());
        {
            // Raw before anybody opens it: a reader's first octets must not be echoed back or translated.
            const Descriptor reader_side(::open(name, O_RDWR | O_NOCTTY | O_CLOEXEC));
            termios settings{};
            if (!reader_side.open() || ::tcgetattr(reader_side.get(), &settings) != 0)
                return fail(std::string(name) + " cannot be set up: " + last_error());
            ::cfmakeraw(&settings);
            ::cfsetspeed(&settings, B57600);
            ::tcsetattr(reader_side.get(), TCSANOW, &settings);
        }
        ::fcntl(master_.get(), F_SETFL, O_NONBLOCK);
        ::unlink(symlink_path_.c_str());
        if (::symlink(name, symlink_path_.c_str()) != 0) {
            return fail("cannot make the link " + symlink_path_ + ": " + last_error() +
                        "; give a path in a folder you may write to");
        }
        return {};
    }
    void unplug() override {
        if (master_.open()) {
            ::unlink(symlink_path_.c_str());
            master_.reset();
        }
    }
    bool wait_for_reader(double seconds) override {
        return wait_until(
            seconds, [this] { return has_reader(); });
    }
    void write(std::span<const std::uint8_t> octets) override {
        if (!master_.open() || !has_reader()) return;
        while (!octets.empty()) {
            const ssize_t written = ::write(master_.get(), octets.data(), octets.size());
            if (written > 0) {
                octets = octets.subspan(static_cast<std::size_t>(written));
                continue;
            }
            if (written < 0 && errno == EINTR) continue;
            if (written < 0 && errno == EAGAIN) {
                // The reader is behind. A serial driver would hold a few milliseconds; faster than real time
                // a reader deserves a moment, so that a test loses nothing.
                pollfd waiting{master_.get(), POLLOUT, 0};
                if (::poll(&waiting, 1, 2000) > 0 && (waiting.revents & POLLHUP) == 0) continue;
            }
            return;
        }
    }

  private:
    /// The master reports a hang-up as long as nobody holds the other side open.
    [[nodiscard]] bool has_reader() const {
        pollfd state{master_.get(), POLLOUT, 0};
        return ::poll(&state, 1, 0) >= 0 && (state.revents & POLLHUP) == 0;
    }

    std::string symlink_path_;
    Descriptor master_;
};

class UdpOutput final : public Output {
  public:
    explicit UdpOutput(int socket) : socket_(socket) {}
    bool wait_for_reader(double) override { return true; }
    void write(std::span<const std::uint8_t> octets) override {
        // Nobody listening shows as ECONNREFUSED on a later send: a radio does not care either.
        (void)::send(socket_.get(), octets.data(), octets.size(), MSG_NOSIGNAL);
    }

  private:
    Descriptor socket_;
};

class TcpOutput final : public Output {
  public:
    explicit TcpOutput(int listener) : listener_(listener) {}
    bool wait_for_reader(double seconds) override {
        return wait_until(
            seconds, [this] { return accept_client(); });
    }
    void write(std::span<const std::uint8_t> octets) override {
        if (!accept_client()) return;
        while (!octets.empty()) {
            const ssize_t written = ::send(client_.get(), octets.data(), octets.size(), MSG_NOSIGNAL);
            if (written < 0 && errno == EINTR) continue;
            if (written <= 0) {
                client_.reset();
                return;
            }
            octets = octets.subspan(static_cast<std::size_t>(written));
        }
    }
    void unplug() override { client_.reset(); }

  private:
    bool accept_client() {
        if (!client_.open()) client_.reset(::accept4(listener_.get(), nullptr, nullptr, SOCK_CLOEXEC));
        return client_.open();
    }

    Descriptor listener_;
    Descriptor client_;
};

class FileOutput final : public Output {
  public:
    explicit FileOutput(std::FILE* file) : file_(file) {}
    ~FileOutput() override { std::fclose(file_); }
    FileOutput(const FileOutput&) = delete;
    FileOutput& operator=(const FileOutput&) = delete;
    bool wait_for_reader(double) override { return true; }
    void write(std::span<const std::uint8_t> octets) override {
        (void)std::fwrite(octets.data(), 1, octets.size(), file_);
    }

  private:
    std::FILE* file_;
};

Result<std::uint16_t> parse_port(std::string_view text) {
    unsigned port = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), port);
    if (error != std::errc{} || end != text.data() + text.size() || port == 0 || port > 65535)
        return fail("\"" + std::string(text) + "\" is no port; a number from 1 to 65535 would be right");
    return static_cast<std::uint16_t>(port);
}

Result<std::unique_ptr<Output>> open_udp(std::string_view rest) {
    const std::size_t colon = rest.rfind(':');
    if (colon == std::string_view::npos) return fail("udp output needs HOST:PORT, for example udp:127.0.0.1:9000");
    const auto port = parse_port(rest.substr(colon + 1));
    if (!port) return fail(port.error().message);
    addrinfo hints{};
    hints.ai_socktype = SOCK_DGRAM;
    addrinfo* found = nullptr;
    const std::string host(rest.substr(0, colon));
    if (const int code = ::getaddrinfo(host.c_str(), std::to_string(*port).c_str(), &hints, &found); code != 0)
        return fail("host " + host + " is not known: " + ::gai_strerror(code));
    const int fd = ::socket(found->ai_family, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    const bool connected = fd >= 0 && ::connect(fd, found->ai_addr, found->ai_addrlen) == 0;
    ::freeaddrinfo(found);
    if (!connected) {
        const std::string why = last_error();
        if (fd >= 0) ::close(fd);
        return fail("udp to " + std::string(rest) + " failed: " + why);
    }
    return std::make_unique<UdpOutput>(fd);
}

Result<std::unique_ptr<Output>> open_tcp(std::string_view rest) {
    const auto port = parse_port(rest);
    if (!port) return fail(port.error().message);
    const int fd = ::socket(AF_INET, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
    const int on = 1;
    ::setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &on, sizeof on);
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_port = htons(*port);
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    if (fd < 0 || ::bind(fd, reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0 ||
        ::listen(fd, 1) != 0) {
        const std::string why = last_error();
        if (fd >= 0) ::close(fd);
        return fail("cannot listen on port " + std::string(rest) + ": " + why);
    }
    return std::make_unique<TcpOutput>(fd);
}

} // namespace

Result<std::unique_ptr<Output>> open_output(std::string_view text) {
    const std::size_t colon = text.find(':');
    const std::string_view kind = text.substr(0, colon);
    const std::string_view rest = colon == std::string_view::npos ? std::string_view{} : text.substr(colon + 1);
    if (rest.empty()) {
        return fail("\"" + std::string(text) +
                    "\" is no output; pty:SYMLINK, udp:HOST:PORT, tcp:PORT or file:PATH would be right");
    }
    if (kind == "pty") {
        auto pty = std::make_unique<PtyOutput>(std::string(rest));
        if (auto plugged = pty->plug(); !plugged) return fail(plugged.error().message);
        return pty;
    }
    if (kind == "udp") return open_udp(rest);
    if (kind == "tcp") return open_tcp(rest);
    if (kind == "file") {
        std::FILE* file = std::fopen(std::string(rest).c_str(), "wbe");
        if (file == nullptr) return fail("cannot write " + std::string(rest) + ": " + last_error());
        return std::make_unique<FileOutput>(file);
    }
    return fail("\"" + std::string(kind) + "\" is no kind of output; pty, udp, tcp or file would be right");
}

} // namespace turnstone::sim
