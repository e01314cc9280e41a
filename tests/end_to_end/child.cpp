#include "tests/end_to_end/child.hpp"

#include <cerrno>
#include <csignal>
#include <sstream>
#include <system_error>
#include <thread>

#include <fcntl.h>
#include <sys/wait.h>
#include <unistd.h>

#include "tests/support/tree.hpp"

namespace turnstone::test {

using namespace std::chrono_literals;

Child::Child(const std::vector<std::string>& arguments, std::filesystem::path output) : output_(std::move(output)) {
    std::vector<char*> argv;
    for (const auto& argument : arguments)
        argv.push_back(const_cast<char*>(argument.c_str())); // execv does not write, but takes char*
    argv.push_back(nullptr);
    const int log = ::open(output_.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644);
    if (log < 0) throw std::system_error(errno, std::generic_category(), output_.string());
    pid_ = ::fork();
    if (pid_ < 0) throw std::system_error(errno, std::generic_category(), "fork");
    if (pid_ == 0) {
        ::dup2(log, STDOUT_FILENO);
        ::dup2(log, STDERR_FILENO);
        ::execv(argv[0], argv.data());
        ::_exit(127);
    }
    ::close(log);
}

Child::~Child() {
    if (!result_) {
        ::kill(pid_, SIGKILL);
        ::waitpid(pid_, nullptr, 0);
    }
}

std::string Child::output() const {
    return read_file(output_);
}

std::optional<std::string> Child::wait_for(const std::string& pattern, std::chrono::milliseconds timeout) {
    const std::regex expression(pattern);
    const auto deadline = std::chrono::steady_clock::now() + timeout;
    for (;;) {
        const bool ended = wait(0ms).has_value();
        std::istringstream lines(output());
        std::string line;
        std::smatch match;
        while (std::getline(lines, line))
            if (std::regex_search(line, match, expression)) return match.size() > 1 ? match[1].str() : match[0].str();
        if (ended || std::chrono::steady_clock::now() > deadline) return std::nullopt;
        std::this_thread::sleep_for(10ms);
    }
}

void Child::signal(int number) const {
    ::kill(pid_, number);
}

std::optional<int> Child::wait(std::chrono::milliseconds timeout) {
    const auto deadline = std::chrono::steady_clock::now() + timeout;
    while (!result_) {
        int status = 0;
        const pid_t done = ::waitpid(pid_, &status, WNOHANG);
        if (done == pid_)
            result_ = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
        else if (std::chrono::steady_clock::now() >= deadline)
            break;
        else
            std::this_thread::sleep_for(5ms);
    }
    return result_;
}

} // namespace turnstone::test
