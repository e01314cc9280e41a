#include "tools/sim/radio/output.hpp"

#include <array>
#include <cerrno>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <string>
#include <thread>

#include <fcntl.h>
#include <netdb.h>
#include <poll.h>
#include <sys/socket.h>
#include <termios.h>
#include <unistd.h>

#include "shared/endpoint.hpp"

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
            // Raw before a reader opens it: its first bytes must not be echoed or translated.
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
    void write(std::span<const std::uint8_t> bytes) override {
        if (!master_.open() || !has_reader()) return;
        while (!bytes.empty()) {
            const ssize_t written = ::write(master_.get(), bytes.data(), bytes.size());
            if (written > 0) {
                bytes = bytes.subspan(static_cast<std::size_t>(written));
                continue;
            }
            if (written < 0 && errno == EINTR) continue;
            if (written < 0 && errno == EAGAIN) {
                // The reader is behind. A serial driver would buffer a few milliseconds. Faster than real time, wait a
                // moment for the reader, so that a test loses nothing.
                pollfd waiting{master_.get(), POLLOUT, 0};
                if (::poll(&waiting, 1, 2000) > 0 && (waiting.revents & POLLHUP) == 0) continue;
            }
            return;
        }
    }

  private:
    /// The master reports a hang-up while nothing holds the other side open.
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
    void write(std::span<const std::uint8_t> bytes) override {
        // With no listener a later send gives ECONNREFUSED: a radio would not notice either.
        (void)::send(socket_.get(), bytes.data(), bytes.size(), MSG_NOSIGNAL);
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
    void write(std::span<const std::uint8_t> bytes) override {
        if (!accept_client()) return;
        while (!bytes.empty()) {
            const ssize_t written = ::send(client_.get(), bytes.data(), bytes.size(), MSG_NOSIGNAL);
            if (written < 0 && errno == EINTR) continue;
            if (written <= 0) {
                client_.reset();
                return;
            }
            bytes = bytes.subspan(static_cast<std::size_t>(written));
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
    void write(std::span<const std::uint8_t> bytes) override {
        (void)std::fwrite(bytes.data(), 1, bytes.size(), file_);
    }

  private:
    std::FILE* file_;
};

constexpr std::array kForms = {EndpointForm{"pty", "pty:PATH"}, EndpointForm{"udp", "udp://HOST:PORT"},
                               EndpointForm{"tcp", "tcp://ADDRESS:PORT"}, EndpointForm{"file", "file:PATH"}};

/// A socket for the first address that `host` stands for, handed to `use` with it (connect or bind); the reason when it
/// fails.
template <class Use>
Result<int> open_socket(const Endpoint& place, int type, int flags, const Use& use) {
    addrinfo hints{};
    hints.ai_socktype = type & ~(SOCK_CLOEXEC | SOCK_NONBLOCK);
    hints.ai_flags = flags;
    addrinfo* found = nullptr;
    if (const int code = ::getaddrinfo(place.host.c_str(), std::to_string(place.port).c_str(), &hints, &found);
        code != 0)
        return fail(::gai_strerror(code));
    const int fd = ::socket(found->ai_family, type, 0);
    const bool used = fd >= 0 && use(fd, found->ai_addr, found->ai_addrlen) == 0;
    ::freeaddrinfo(found);
    if (used) return fd;
    const std::string why = last_error();
    if (fd >= 0) ::close(fd);
    return fail(why);
}

Result<std::unique_ptr<Output>> open_udp(const Endpoint& to) {
    const auto fd = open_socket(to, SOCK_DGRAM | SOCK_CLOEXEC, 0, ::connect);
    if (!fd) return fail("cannot send to " + to.host + " port " + std::to_string(to.port) + ": " + fd.error().message);
    return std::make_unique<UdpOutput>(*fd);
}

Result<std::unique_ptr<Output>> open_tcp(const Endpoint& at) {
    const auto listen = [](int fd, const sockaddr* address, socklen_t size) {
        const int on = 1;
        ::setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &on, sizeof on);
        return ::bind(fd, address, size) == 0 ? ::listen(fd, 1) : -1;
    };
    const auto fd = open_socket(at, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, AI_NUMERICHOST | AI_PASSIVE, listen);
    if (!fd) {
        return fail("cannot listen at " + at.host + " port " + std::to_string(at.port) + ": " + fd.error().message +
                    "; give an address of this machine and a free port");
    }
    return std::make_unique<TcpOutput>(*fd);
}

Result<std::unique_ptr<Output>> open_pty(const std::string& path) {
    auto pty = std::make_unique<PtyOutput>(path);
    if (auto plugged = pty->plug(); !plugged) return fail(plugged.error().message);
    return pty;
}

Result<std::unique_ptr<Output>> open_file(const std::string& path) {
    std::FILE* const file = std::fopen(path.c_str(), "wbe");
    if (file == nullptr) return fail("cannot write " + path + ": " + last_error());
    return std::make_unique<FileOutput>(file);
}

} // namespace

Result<std::unique_ptr<Output>> open_output(std::string_view uri) {
    const auto to = parse_endpoint("output", uri, kForms);
    if (!to) return fail(to.error().message);
    if (!to->options.empty())
        return fail(named("output", uri) + " has option " + to->options.front().first + "; outputs take none");
    if (to->scheme == "pty") return open_pty(to->path);
    if (to->scheme == "udp") return open_udp(*to);
    if (to->scheme == "tcp") return open_tcp(*to);
    return open_file(to->path);
}

} // namespace turnstone::sim
