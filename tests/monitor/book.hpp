#pragma once
/// An alert book on a bench: conditions as a function of time, and what follows from them.
#include <cmath>
#include <functional>
#include <string>
#include <vector>

#include "server/monitor/alert_book.hpp"
#include "shared/time.hpp"

namespace turnstone::test {

inline constexpr std::int64_t kBookStart_ns = 1'780'000'000 * kNsPerS;

class BookBench {
  public:
    /// Ticks from the time reached up to `until_s`; `found` gives what the watches find at a time.
    void run(double until_s, const std::function<std::vector<Condition>(double)>& found) {
        for (; t_s() < until_s - 1e-9; tick_ += 1) {
            book.judge({0, "alpha"}, found(t_s()), now_ns(), out);
            book.tick(now_ns(), out);
        }
    }
    [[nodiscard]] double t_s() const { return static_cast<double>(tick_) / 10; }
    [[nodiscard]] std::int64_t now_ns() const { return kBookStart_ns + tick_ * (kNsPerS / 10); }
    template <class Action>
    void act(const Action& action) {
        book.take(action, now_ns(), out);
    }
    /// "5.0 raised caution limit" and the like; times are those at which they were found.
    [[nodiscard]] std::vector<std::string> story() const {
        std::vector<std::string> lines;
        for (const Event& event : out.events) {
            const double t = seconds_between(kBookStart_ns, event.t_found_ns);
            std::string line = std::to_string(std::lround(t * 10) / 10) + "." +
                               std::to_string(std::lround(t * 10) % 10) + " " + std::string(word(event.kind)).substr(6);
            if (event.kind == EventKind::alert_raised) line += " " + std::string(word(event.level));
            lines.push_back(line);
        }
        return lines;
    }
    [[nodiscard]] std::vector<const Event*> raised() const {
        std::vector<const Event*> all;
        for (const Event& event : out.events)
            if (event.kind == EventKind::alert_raised) all.push_back(&event);
        return all;
    }

    AlertBook book{std::vector<std::string>{"alpha"}};
    Batch out;

  private:
    std::int64_t tick_ = 0;
};

} // namespace turnstone::test
