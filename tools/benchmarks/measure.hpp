#pragma once
/// Times candidates in turn, so that a busy moment of the machine hits all of them.
#include <algorithm>
#include <chrono>
#include <functional>
#include <string>
#include <utility>
#include <vector>

namespace turnstone::bench {

/// A path below the source tree.
inline std::string source(const std::string& path) {
    return std::string(TURNSTONE_SOURCE_DIR) + "/" + path;
}

/// A program of the build that this benchmark belongs to.
inline std::string program(const std::string& name) {
    return std::string(TURNSTONE_BINARY_DIR) + "/bin/" + name;
}

/// q in [0, 1] of `values`, nearest rank.
inline double quantile(std::vector<double> values, double q) {
    std::sort(values.begin(), values.end());
    return values.at(std::min(values.size() - 1, static_cast<std::size_t>(q * static_cast<double>(values.size()))));
}

class Race {
  public:
    std::size_t add(std::string name, std::function<void()> work) {
        entries_.push_back({std::move(name), std::move(work), {}});
        return entries_.size() - 1;
    }
    /// Runs every candidate `rounds` times, in turn. The first round warms up and does not count when there are more
    /// than two.
    void run(int rounds) {
        for (int round = 0; round < rounds; ++round) {
            for (auto& entry : entries_) {
                const auto start = std::chrono::steady_clock::now();
                entry.work();
                const std::chrono::duration<double> took = std::chrono::steady_clock::now() - start;
                if (round > 0 || rounds <= 2) entry.seconds.push_back(took.count());
            }
        }
    }
    [[nodiscard]] const std::string& name(std::size_t id) const { return entries_.at(id).name; }
    [[nodiscard]] double median_s(std::size_t id) const { return quantile(entries_.at(id).seconds, 0.5); }
    /// (slowest - fastest) / median
    [[nodiscard]] double spread_percent(std::size_t id) const {
        return 100 * (quantile(entries_.at(id).seconds, 1) - quantile(entries_.at(id).seconds, 0)) / median_s(id);
    }

  private:
    struct Entry {
        std::string name;
        std::function<void()> work;
        std::vector<double> seconds;
    };
    std::vector<Entry> entries_;
};

} // namespace turnstone::bench
