#pragma once
/// Debian's broker in a process of its own, and where the recordings of a station are.
#include <chrono>
#include <csignal>
#include <filesystem>
#include <fstream>
#include <memory>
#include <string>

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <catch2/catch.hpp>

#include "tests/end_to_end/child.hpp"
#include "tests/support/temporary_folder.hpp"

namespace turnstone::test {

inline const std::string kPassword = "correct-horse-7", kUser = "range";

inline std::string free_port() {
    boost::asio::io_context context;
    const boost::asio::ip::tcp::acceptor acceptor(context, {boost::asio::ip::address_v4::loopback(), 0});
    return std::to_string(acceptor.local_endpoint().port());
}

/// Debian's broker, on loopback, with a user.
class Broker {
  public:
    explicit Broker(const TemporaryFolder& folder) : folder_(folder.path()), port(free_port()) {
        const auto users = folder.path() / "users";
        Child make({"/usr/bin/mosquitto_passwd", "-b", "-c", users.string(), kUser, kPassword}, folder_ / "users.log");
        REQUIRE(make.wait(std::chrono::seconds(10)) == 0);
        std::ofstream(folder_ / "broker.conf") << "listener " << port << " 127.0.0.1\nallow_anonymous false\n"
                                               << "password_file " << users.string() << "\nmax_queued_messages 0\n"
                                               << "user root\n";
        start();
    }
    void start() {
        process_ = std::make_unique<Child>(
            std::vector<std::string>{"/usr/sbin/mosquitto", "-v", "-c", (folder_ / "broker.conf").string()},
            folder_ / ("broker" + std::to_string(++starts_) + ".log"));
        REQUIRE(process_->wait_for("(running)", std::chrono::seconds(10)));
    }
    void kill() {
        process_->signal(SIGKILL);
        REQUIRE(process_->wait(std::chrono::seconds(10)));
    }

  private:
    std::filesystem::path folder_;
    std::unique_ptr<Child> process_;
    int starts_ = 0;

  public:
    const std::string port;
};

/// The only one in a folder.
inline std::filesystem::path recording_in(const std::filesystem::path& folder) {
    std::filesystem::path found;
    for (const auto& entry : std::filesystem::directory_iterator(folder))
        if (entry.path().extension() == ".sqlite") {
            REQUIRE(found.empty());
            found = entry.path();
        }
    REQUIRE(!found.empty());
    return found;
}

} // namespace turnstone::test
