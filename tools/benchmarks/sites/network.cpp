#include "tools/benchmarks/sites/network.hpp"

#include <csignal>
#include <cstring>
#include <random>
#include <stdexcept>

#include <fcntl.h>
#include <linux/if.h>
#include <linux/if_tun.h>
#include <poll.h>
#include <sched.h>
#include <sys/eventfd.h>
#include <sys/ioctl.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

namespace turnstone::bench {
namespace {

using Clock = std::chrono::steady_clock;

[[noreturn]] void refuse(const std::string& what) {
    throw std::runtime_error(what + ": " + std::strerror(errno));
}

constexpr std::size_t kPacketBytes = 2048;

int tunnel_end(const std::string& name) {
    const int end = ::open("/dev/net/tun", O_RDWR | O_NONBLOCK | O_CLOEXEC);
    if (end < 0) refuse("cannot open /dev/net/tun");
    ifreq request{};
    request.ifr_flags = static_cast<short>(IFF_TUN | IFF_NO_PI);
    name.copy(request.ifr_name, sizeof request.ifr_name - 1);
    if (::ioctl(end, TUNSETIFF, &request) != 0) refuse("no tunnel " + name);
    return end;
}

/// Of a forked process; `network` < 0: in the one that it has.
[[noreturn]] void become(int network, const std::vector<std::string>& words) {
    if (network >= 0 && ::setns(network, CLONE_NEWNET) != 0) ::_exit(126);
    std::vector<char*> arguments;
    for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
    arguments.push_back(nullptr);
    ::execvp(arguments[0], arguments.data());
    ::_exit(127);
}

} // namespace

Program::Program(int network, const std::vector<std::string>& words, const std::filesystem::path& log)
    : pid_(::fork()) {
    if (pid_ != 0) return;
    ::prctl(PR_SET_PDEATHSIG, SIGKILL); // nothing outlives the series
    const int out = ::open(log.c_str(), O_WRONLY | O_CREAT | O_APPEND, 0644);
    ::dup2(out, STDOUT_FILENO);
    ::dup2(out, STDERR_FILENO);
    become(network, words);
}

Program::~Program() {
    if (pid_ <= 0) return;
    ::kill(pid_, SIGKILL);
    ::waitpid(pid_, nullptr, 0);
}

void Program::signal(int number) const {
    if (pid_ > 0) ::kill(pid_, number);
}

bool Program::has_ended(std::chrono::milliseconds within) {
    const auto until = Clock::now() + within;
    while (pid_ > 0) {
        if (::waitpid(pid_, nullptr, WNOHANG) == pid_) pid_ = -1;
        if (pid_ > 0 && Clock::now() >= until) return false;
        if (pid_ > 0) std::this_thread::sleep_for(std::chrono::milliseconds(20));
    }
    return true;
}

Place::Place() {
    std::string why;
    std::thread([&] {
        if (::unshare(CLONE_NEWNET) != 0)
            why = std::strerror(errno);
        else
            network_ = ::open("/proc/thread-self/ns/net", O_RDONLY | O_CLOEXEC);
    }).join();
    if (network_ < 0) throw std::runtime_error("no network namespace, which only root may make: " + why);
    run({"ip", "link", "set", "lo", "up"});
}

Place::~Place() {
    ::close(network_);
}

void Place::run(const std::vector<std::string>& words) const {
    const pid_t pid = ::fork();
    if (pid == 0) become(network_, words);
    int result = 0;
    ::waitpid(pid, &result, 0);
    if (result != 0) throw std::runtime_error(words.front() + " " + words.at(1) + " failed");
}

std::thread Place::thread(std::function<void()> work) const {
    return std::thread([network = network_, work = std::move(work)] {
        if (::setns(network, CLONE_NEWNET) != 0) refuse("cannot enter a network namespace");
        work();
    });
}

Line::Line(const Place& from, const Place& to, int number, LineQuality quality)
    : stop_(::eventfd(0, EFD_CLOEXEC)), quality_(quality) {
    const std::string name = "line" + std::to_string(number), base = "10.83." + std::to_string(number) + ".";
    const std::array<const Place*, 2> places{&from, &to};
    for (std::size_t k = 0; k < ends_.size(); ++k) {
        std::string why;
        places[k]
            ->thread([&] {
                try {
                    ends_[k] = tunnel_end(name);
                } catch (const std::exception& error) {
                    why = error.what();
                }
            })
            .join();
        if (ends_[k] < 0) throw std::runtime_error(why);
        places[k]->run({"ip", "addr", "add", base + std::to_string(k + 1) + "/30", "dev", name});
        places[k]->run({"ip", "link", "set", name, "up"});
    }
    thread_ = std::thread([this, number] { carry(static_cast<std::uint64_t>(number)); });
}

Line::~Line() {
    const std::uint64_t one = 1;
    if (::write(stop_, &one, sizeof one) == sizeof one) thread_.join();
    for (const int end : ends_) ::close(end);
    ::close(stop_);
}

void Line::carry(std::uint64_t seed) {
    struct Packet {
        Clock::time_point due;
        std::vector<std::byte> bytes;
    };
    std::array<std::deque<Packet>, 2> under_way; // by the end that they come from
    std::mt19937_64 random(seed);
    std::bernoulli_distribution is_lost(quality_.loss);
    std::vector<std::byte> packet(kPacketBytes);
    for (;;) {
        int wait_ms = -1;
        for (std::size_t k = 0; k < ends_.size(); ++k) {
            auto& queue = under_way[k];
            const auto now = Clock::now();
            for (; !queue.empty() && queue.front().due <= now; queue.pop_front())
                (void)!::write(ends_[1 - k], queue.front().bytes.data(), queue.front().bytes.size()); // or it is lost
            if (queue.empty()) continue;
            const auto left = std::chrono::ceil<std::chrono::milliseconds>(queue.front().due - now).count();
            wait_ms = wait_ms < 0 ? static_cast<int>(left) : std::min(wait_ms, static_cast<int>(left));
        }
        std::array<pollfd, 3> ready{pollfd{ends_[0], POLLIN, 0}, pollfd{ends_[1], POLLIN, 0}, pollfd{stop_, POLLIN, 0}};
        if (::poll(ready.data(), ready.size(), wait_ms) < 0 && errno != EINTR) return;
        if (ready[2].revents != 0) return;
        for (std::size_t k = 0; k < ends_.size(); ++k) {
            if (ready[k].revents == 0) continue;
            for (ssize_t size = 0; (size = ::read(ends_[k], packet.data(), packet.size())) > 0;) {
                if (is_lost(random)) continue;
                under_way[k].push_back({Clock::now() + std::chrono::milliseconds(quality_.delay_ms),
                                        {packet.begin(), packet.begin() + size}});
            }
        }
    }
}

} // namespace turnstone::bench
