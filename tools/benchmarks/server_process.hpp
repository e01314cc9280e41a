#pragma once
/// The real server process on a pseudo-terminal, for benchmarks of the whole.
#include <chrono>
#include <cmath>
#include <csignal>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <sstream>
#include <stdexcept>
#include <string>
#include <thread>
#include <vector>

#include <fcntl.h>
#include <stdlib.h>
#include <sys/wait.h>
#include <termios.h>
#include <unistd.h>

#include "tools/benchmarks/measure.hpp"

namespace turnstone::bench {

/// A pseudo-terminal in raw mode; the master end is the vehicle's radio.
class Terminal {
  public:
    Terminal() : master_(::posix_openpt(O_RDWR | O_NOCTTY)) {
        if (master_ < 0 || ::grantpt(master_) != 0 || ::unlockpt(master_) != 0)
            throw std::runtime_error("no pseudo-terminal is available");
        slave_ = ::open(path().c_str(), O_RDWR | O_NOCTTY);
        termios settings{};
        ::tcgetattr(slave_, &settings);
        ::cfmakeraw(&settings);
        ::tcsetattr(slave_, TCSANOW, &settings);
    }
    ~Terminal() {
        ::close(slave_);
        ::close(master_);
    }
    Terminal(const Terminal&) = delete;
    Terminal& operator=(const Terminal&) = delete;
    [[nodiscard]] std::string path() const { return ::ptsname(master_); }
    [[nodiscard]] int slave() const { return slave_; }
    void write(const std::vector<std::byte>& bytes) const {
        if (::write(master_, bytes.data(), bytes.size()) != static_cast<ssize_t>(bytes.size()))
            throw std::runtime_error("the pseudo-terminal did not take all the bytes");
    }

  private:
    int master_;
    int slave_ = -1;
};

/// NaN: there is no such process.
inline double resident_mb_of(pid_t process) {
    std::ifstream in("/proc/" + std::to_string(process) + "/status");
    std::string word;
    while (in >> word) {
        if (word == "VmRSS:") {
            double kilobytes = 0;
            in >> kilobytes;
            return kilobytes / 1024;
        }
    }
    return std::nan("");
}

inline double cpu_s_of(pid_t process) {
    std::ifstream in("/proc/" + std::to_string(process) + "/stat");
    std::string text((std::istreambuf_iterator<char>(in)), {});
    std::istringstream fields(text.substr(text.rfind(')') + 2));
    std::string skipped;
    for (int k = 0; k < 11; ++k) fields >> skipped;
    double user = 0, system = 0;
    fields >> user >> system;
    return (user + system) / static_cast<double>(::sysconf(_SC_CLK_TCK));
}

/// `turnstone serve` in a process of its own.
class ServerProcess {
  public:
    /// `more`: options of its own, such as other vehicles with their links.
    explicit ServerProcess(const std::string& port_path, const std::vector<std::string>& more = {}) {
        directory_ = std::filesystem::temp_directory_path() / ("turnstone-bench-" + std::to_string(::getpid()));
        std::filesystem::create_directories(directory_);
        const std::string log = (directory_ / "server.log").string();
        pid_ = ::fork(); // NOLINT(cppcoreguidelines-prefer-member-initializer): after the folder is made
        if (pid_ == 0) {
            const int out = ::open(log.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0644);
            ::dup2(out, STDOUT_FILENO);
            ::dup2(out, STDERR_FILENO);
            std::vector<std::string> words{program("turnstone"),
                                           "serve",
                                           "--vehicle",
                                           source("tools/demo/sanderling"),
                                           "--site",
                                           source("tools/demo/site.json"),
                                           "--link",
                                           "serial:" + port_path + "?baud=115200&name=radio",
                                           "--port",
                                           "0",
                                           "--recordings",
                                           recordings().string()};
            words.insert(words.end(), more.begin(), more.end());
            std::vector<char*> arguments;
            for (std::string& each : words) arguments.push_back(each.data());
            arguments.push_back(nullptr);
            ::execv(arguments[0], arguments.data());
            ::_exit(127);
        }
        for (int tries = 0; tries < 500 && port_ == 0; ++tries) {
            std::this_thread::sleep_for(std::chrono::milliseconds(20));
            std::ifstream in(log);
            std::stringstream text;
            text << in.rdbuf();
            const std::string key = "http://127.0.0.1:";
            if (const auto at = text.str().find(key); at != std::string::npos)
                port_ = static_cast<std::uint16_t>(std::stoi(text.str().substr(at + key.size())));
        }
        if (port_ == 0) throw std::runtime_error("the server did not come up; see " + log);
    }
    ~ServerProcess() {
        stop();
        std::error_code ignored; // leftovers in the temporary directory harm nothing
        std::filesystem::remove_all(directory_, ignored);
    }
    ServerProcess(const ServerProcess&) = delete;
    ServerProcess& operator=(const ServerProcess&) = delete;
    [[nodiscard]] std::uint16_t port() const { return port_; }
    [[nodiscard]] std::filesystem::path recordings() const { return directory_ / "recordings"; }
    /// Ends it as an operator would; the recording is closed then.
    void stop() {
        if (pid_ < 0) return;
        ::kill(pid_, SIGINT);
        ::waitpid(pid_, nullptr, 0);
        pid_ = -1;
    }
    [[nodiscard]] double resident_mb() const { return resident_mb_of(pid_); }
    [[nodiscard]] double cpu_s() const { return cpu_s_of(pid_); }

  private:
    pid_t pid_ = -1;
    std::uint16_t port_ = 0;
    std::filesystem::path directory_;
};

} // namespace turnstone::bench
