#pragma once
/// Real programs in real processes: what the end-to-end tests start, watch and kill.
#include <chrono>
#include <filesystem>
#include <optional>
#include <regex>
#include <string>
#include <vector>

#include <sys/types.h>

namespace turnstone::test {

/// A child process whose standard output and error go to a file. Killed and reaped when it goes out of scope.
class Child {
  public:
    Child(const std::vector<std::string>& arguments, std::filesystem::path output);
    ~Child();
    Child(const Child&) = delete;
    Child& operator=(const Child&) = delete;

    /// First capture group of the first line of output that matches; empty after the timeout or when the child ended.
    [[nodiscard]] std::optional<std::string> wait_for(const std::string& pattern, std::chrono::milliseconds timeout);
    void signal(int number) const;
    /// Exit code, or 128 + signal; empty after the timeout.
    [[nodiscard]] std::optional<int> wait(std::chrono::milliseconds timeout);
    [[nodiscard]] std::string output() const;

  private:
    pid_t pid_ = -1;
    std::filesystem::path output_;
    std::optional<int> result_;
};

} // namespace turnstone::test
