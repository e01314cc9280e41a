#pragma once
/// Many viewers of one server, from many addresses of its place.
#include <cstddef>
#include <cstdint>
#include <memory>
#include <vector>

#include "tools/benchmarks/sites/network.hpp"

namespace turnstone::bench {

struct CrowdFigures {
    std::size_t connected = 0; ///< now
    std::size_t refused = 0, lost = 0;
    std::uint64_t bytes = 0, messages = 0, gaps = 0; ///< that all have received
};

class Crowd {
  public:
    /// Comes in over `within`, evenly.
    Crowd(const Place& place, std::uint16_t port, std::size_t viewers, std::chrono::milliseconds within);
    ~Crowd();
    Crowd(const Crowd&) = delete;
    Crowd& operator=(const Crowd&) = delete;
    [[nodiscard]] CrowdFigures figures() const;
    /// Since the last call: how old samples are when they reach a viewer, in s beyond the least of the run.
    [[nodiscard]] std::vector<double> take_ages();

  private:
    struct State;
    std::unique_ptr<State> state_;
};

} // namespace turnstone::bench
