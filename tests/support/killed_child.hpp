#pragma once
/// A forked child that works until it is killed, and what it reported before.
#include <chrono>
#include <csignal>
#include <future>
#include <stdexcept>
#include <thread>
#include <utility>
#include <vector>

#include <sys/wait.h>
#include <unistd.h>

namespace turnstone::test {

template <class Report>
struct KilledChild {
    using Clock = std::chrono::steady_clock;
    std::vector<std::pair<Clock::time_point, Report>> reports; ///< when each arrived
    Clock::time_point killed_at;
};

/// Runs `work(report)` in a child until `life` after its first report, however slowly it starts, and kills it with
/// SIGKILL. `work` must not return; `report(value)` tells the parent and ends the child when nobody listens.
template <class Report, class Work>
KilledChild<Report> run_until_killed(std::chrono::milliseconds life, Work&& work) {
    using Clock = std::chrono::steady_clock;
    int pipe[2];
    if (::pipe(pipe) != 0) throw std::runtime_error("pipe");
    const pid_t child = ::fork();
    if (child < 0) throw std::runtime_error("fork");
    if (child == 0) {
        ::close(pipe[0]);
        work([&](const Report& report) {
            if (::write(pipe[1], &report, sizeof(report)) != sizeof(report)) ::_exit(1);
        });
        ::_exit(2);
    }
    ::close(pipe[1]);
    KilledChild<Report> out;
    std::promise<void> first;
    std::thread listener([&] {
        Report report{};
        while (::read(pipe[0], &report, sizeof(report)) == sizeof(report)) {
            out.reports.emplace_back(Clock::now(), report);
            if (out.reports.size() == 1) first.set_value();
        }
    });
    first.get_future().wait_for(std::chrono::seconds(20));
    std::this_thread::sleep_for(life);
    out.killed_at = Clock::now();
    ::kill(child, SIGKILL);
    int status = 0;
    ::waitpid(child, &status, 0);
    listener.join();
    ::close(pipe[0]);
    if (!WIFSIGNALED(status)) throw std::runtime_error("the child ended before it was killed");
    return out;
}

} // namespace turnstone::test
