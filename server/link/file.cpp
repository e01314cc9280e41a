#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <optional>

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <boost/asio/post.hpp>

#include "protocol/pcap/packet_capture.hpp"
#include "server/link/link.hpp"
#include "server/link/recorded_time.hpp"

namespace turnstone {

namespace {

constexpr std::chrono::milliseconds kPaceStep{10};
constexpr double kBitsPerByte = 10.0; // start bit, eight data bits, stop bit

class FileLink final : public Link {
  public:
    FileLink(boost::asio::io_context& context, FileSource source, LinkHandler handler)
        : Link(context, std::move(handler)), source_(std::move(source)), timer_(context) {}
    ~FileLink() override { FileLink::close(); }

  private:
    void open() override {
        fd_ = ::open(source_.path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK);
        if (fd_ < 0) {
            cannot_open(source_.path + " cannot be opened (" + std::strerror(errno) + ")");
            return;
        }
        struct stat status {};
        if (::fstat(fd_, &status) != 0 || !S_ISREG(status.st_mode)) {
            cannot_open(source_.path + " is not a regular file; a file link reads a raw capture");
            return;
        }
        // After a failed read it continues where it was: no byte twice.
        if (::lseek(fd_, static_cast<off_t>(bytes_read_), SEEK_SET) < 0) {
            cannot_open(source_.path + " cannot be read from byte " + std::to_string(bytes_read_) + " on (" +
                        std::strerror(errno) + ")");
            return;
        }
        std::array<std::byte, 4> head{};
        if (bytes_read_ == 0 && ::pread(fd_, head.data(), head.size(), 0) == static_cast<ssize_t>(head.size()) &&
            PacketCapture::is_one(head))
            capture_.emplace(source_.udp_port);
        if (!capture_ && source_.udp_port) {
            cannot_open(source_.path + " is not a packet capture (pcap, pcapng); leave udp_port= out");
            return;
        }
        t_paced_ns_ = station_now_ns();
        bytes_before_ = bytes_read_;
        opened();
    }

    void read() override {
        if (source_.pace_baud == 0 && may_read()) {
            // Posting between blocks gives the other links their turn.
            boost::asio::post(context(), [self = self<FileLink>()] { self->read_block(); });
            return;
        }
        timer_.expires_after(kPaceStep);
        timer_.async_wait([self = self<FileLink>()](const boost::system::error_code& error) {
            if (!error) self->read_block();
        });
    }

    /// Bytes that a line of the given rate would have delivered by this time and that are not read yet.
    [[nodiscard]] std::size_t due() const {
        if (!may_read()) return 0;
        if (source_.pace_baud == 0) return buffer_.size();
        const double elapsed_s = static_cast<double>(station_now_ns() - t_paced_ns_) * 1e-9;
        const double bytes =
            elapsed_s * source_.pace_baud / kBitsPerByte - static_cast<double>(bytes_read_ - bytes_before_);
        return static_cast<std::size_t>(std::clamp(bytes, 0.0, static_cast<double>(buffer_.size())));
    }

    void read_block() {
        if (stopped()) return;
        const std::size_t wanted = due();
        if (wanted > 0) {
            const ssize_t size = ::read(fd_, buffer_.data(), wanted);
            if (size < 0) {
                lost(source_.path + " cannot be read (" + std::strerror(errno) + ")");
                return;
            }
            if (size == 0 || (capture_ && !capture_->error().empty())) {
                end_of_file(capture_ ? capture_->at_end() : "");
                return;
            }
            bytes_read_ += static_cast<std::uint64_t>(size);
            take({buffer_.data(), static_cast<std::size_t>(size)});
        }
        if (!stopped()) read();
    }

    void take(std::span<const std::byte> bytes) {
        if (!capture_) {
            received(bytes);
            return;
        }
        capture_->push(bytes, [this](std::int64_t t_recorded_ns, std::span<const std::byte> payload) {
            // At a pace there may be other links, whose times are those of now.
            if (source_.pace_baud == 0)
                received_at(time_.now_for(t_recorded_ns, station_now_ns()), payload);
            else
                received(payload);
        });
    }

    void close() noexcept override {
        timer_.cancel();
        if (fd_ >= 0) {
            ::close(fd_);
            fd_ = -1;
        }
    }

    FileSource source_;
    boost::asio::steady_timer timer_;
    std::optional<PacketCapture> capture_; ///< the file is one
    RecordedTime time_;
    int fd_ = -1;
    std::int64_t t_paced_ns_ = 0;
    std::uint64_t bytes_before_ = 0; ///< read before this opening
    std::uint64_t bytes_read_ = 0;
    std::array<std::byte, 16384> buffer_{};
};

} // namespace

std::shared_ptr<Link> make_link(boost::asio::io_context& context, const FileSource& source, LinkHandler handler) {
    return std::make_shared<FileLink>(context, source, std::move(handler));
}

} // namespace turnstone
