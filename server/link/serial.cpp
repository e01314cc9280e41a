#include <cerrno>
#include <cstring>
#include <iterator>

#include <fcntl.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

#include <boost/asio/posix/stream_descriptor.hpp>

#include "server/link/stream_link.hpp"

namespace turnstone {

namespace {

speed_t speed_of(unsigned baud) {
    struct Rate {
        unsigned baud;
        speed_t speed;
    };
    static constexpr Rate rates[] = {{1200, B1200},       {1800, B1800},       {2400, B2400},       {4800, B4800},
                                     {9600, B9600},       {19200, B19200},     {38400, B38400},     {57600, B57600},
                                     {115200, B115200},   {230400, B230400},   {460800, B460800},   {500000, B500000},
                                     {576000, B576000},   {921600, B921600},   {1000000, B1000000}, {1152000, B1152000},
                                     {1500000, B1500000}, {2000000, B2000000}, {2500000, B2500000}, {3000000, B3000000},
                                     {3500000, B3500000}, {4000000, B4000000}};
    static_assert(std::size(rates) == std::size(kBaudRates));
    for (const Rate& rate : rates)
        if (rate.baud == baud) return rate.speed;
    return B0;
}

/// Of a long path its end, which tells it from others; the station was started with all of it.
std::string shown(const std::string& path) {
    constexpr std::size_t kLongest = 48;
    const std::size_t end = path.rfind('/');
    return path.size() <= kLongest || end == std::string::npos ? path : "…" + path.substr(end);
}

/// Sets the port raw, eight bits, no flow control. Bytes with a parity error come through as they are: every byte is
/// kept, and the frame check finds them.
Result<void> set_line(int fd, const SerialSource& source) {
    termios line{};
    if (tcgetattr(fd, &line) != 0)
        return fail(shown(source.path) + " is not a serial port (" + std::strerror(errno) + ")");
    cfmakeraw(&line);
    line.c_iflag &= ~static_cast<tcflag_t>(INPCK | IXOFF | IXANY);
    line.c_cflag &= ~static_cast<tcflag_t>(PARENB | PARODD | CSTOPB | CRTSCTS);
    line.c_cflag |= CREAD | CLOCAL;
    if (source.parity != 'n') line.c_cflag |= PARENB;
    if (source.parity == 'o') line.c_cflag |= PARODD;
    if (source.stop_bits == 2) line.c_cflag |= CSTOPB;
    line.c_cc[VMIN] = 1;
    line.c_cc[VTIME] = 0;
    const speed_t speed = speed_of(source.baud);
    cfsetispeed(&line, speed);
    cfsetospeed(&line, speed);
    if (tcsetattr(fd, TCSANOW, &line) != 0)
        return fail(shown(source.path) + " cannot be set up (" + std::strerror(errno) + ")");
    // tcsetattr succeeds if it could do any part of what was asked.
    termios got{};
    if (tcgetattr(fd, &got) != 0 || cfgetospeed(&got) != speed)
        return fail(shown(source.path) + " does not take " + std::to_string(source.baud) + " baud");
    return {};
}

/// Opens for reading only: the kernel itself then refuses to send.
Result<int> open_port(const SerialSource& source) {
    const int fd = ::open(source.path.c_str(), O_RDONLY | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    if (fd < 0) {
        const int error = errno;
        if (error == ENOENT) return fail(shown(source.path) + " does not exist; plug it in or correct the path");
        if (error == EACCES)
            return fail(shown(source.path) +
                        " may not be read by this user; join the group that owns it (often dialout)");
        if (error == EBUSY) return fail(shown(source.path) + " is in use by another program; close that program");
        return fail(shown(source.path) + " cannot be opened (" + std::strerror(error) + ")");
    }
    // TIOCEXCL keeps others out, except a privileged user; the advisory lock also finds those
    // already in.
    Result<void> ready;
    if (::flock(fd, LOCK_EX | LOCK_NB) != 0)
        ready = fail(shown(source.path) + " is in use by another program; close that program");
    else
        ready = set_line(fd, source);
    if (ready && ::ioctl(fd, TIOCEXCL) != 0)
        ready = fail(shown(source.path) + " cannot be kept for this program alone (" + std::strerror(errno) + ")");
    if (!ready) {
        ::close(fd);
        return fail(ready.error().message);
    }
    return fd;
}

class SerialLink final : public StreamLink<boost::asio::posix::stream_descriptor> {
  public:
    SerialLink(boost::asio::io_context& context, SerialSource source, LinkHandler handler)
        : StreamLink(context, std::move(handler)), source_(std::move(source)) {}

  private:
    void open() override {
        const Result<int> fd = open_port(source_);
        if (!fd) {
            cannot_open(fd.error().message);
            return;
        }
        boost::system::error_code error;
        stream().assign(*fd, error);
        if (error) {
            ::close(*fd);
            cannot_open(source_.path + " cannot be watched (" + error.message() + ")");
            return;
        }
        opened();
    }

    std::string failure(const boost::system::error_code& error) const override {
        return source_.path + " was unplugged or closed by the other side (" + error.message() + ")";
    }

    void close() noexcept override {
        // The exclusive mark belongs to the device, not to this opening of it.
        if (stream().is_open()) ::ioctl(stream().native_handle(), TIOCNXCL);
        StreamLink::close();
    }

    SerialSource source_;
};

} // namespace

std::shared_ptr<Link> make_link(boost::asio::io_context& context, const SerialSource& source, LinkHandler handler) {
    return std::make_shared<SerialLink>(context, source, std::move(handler));
}

} // namespace turnstone
