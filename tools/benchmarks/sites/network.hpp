#pragma once
/// Places with networks of their own on one machine, and lines between them that delay and lose what passes. A place
/// vanishes with this process; nothing is left behind. Root only.
#include <array>
#include <chrono>
#include <cstdint>
#include <deque>
#include <filesystem>
#include <functional>
#include <string>
#include <thread>
#include <vector>

#include <sys/types.h>

namespace turnstone::bench {

/// A program in a process of its own, whose output goes to a file. Killed when it goes out of scope.
class Program {
  public:
    /// `network`: of a Place; -1: this one's.
    Program(int network, const std::vector<std::string>& words, const std::filesystem::path& log);
    ~Program();
    Program(const Program&) = delete;
    Program& operator=(const Program&) = delete;
    void signal(int number) const;
    /// False: it has not ended in that time.
    [[nodiscard]] bool has_ended(std::chrono::milliseconds within);
    [[nodiscard]] pid_t id() const { return pid_; }

  private:
    pid_t pid_;
};

/// A network namespace with its loopback up.
class Place {
  public:
    Place();
    ~Place();
    Place(const Place&) = delete;
    Place& operator=(const Place&) = delete;
    [[nodiscard]] int network() const { return network_; }
    /// Runs a command there to its end; throws when it fails.
    void run(const std::vector<std::string>& words) const;
    /// Runs `work` on a thread of its own that is there.
    [[nodiscard]] std::thread thread(std::function<void()> work) const;

  private:
    int network_ = -1;
};

struct LineQuality {
    int delay_ms = 0; ///< each way
    double loss = 0;  ///< of packets, each way
};

/// A line between two places: 10.83.NUMBER.1 at `from`, 10.83.NUMBER.2 at `to`. Packets pass through this process,
/// since not every kernel has a queue that delays and loses them (netem).
class Line {
  public:
    Line(const Place& from, const Place& to, int number, LineQuality quality);
    ~Line();
    Line(const Line&) = delete;
    Line& operator=(const Line&) = delete;

  private:
    void carry(std::uint64_t seed);

    std::array<int, 2> ends_{-1, -1}; ///< of tunnels, IP packets each
    int stop_ = -1;
    LineQuality quality_;
    std::thread thread_;
};

} // namespace turnstone::bench
