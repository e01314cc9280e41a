#pragma once
/// Heavy loss: of a vehicle, on the link that loses least, as measured over some seconds by gaps in the sequence
/// counts. A silent link is not its matter: nothing is counted lost before the next packet, and the link's state says
/// it.
#include <array>
#include <cstddef>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "server/monitor/condition.hpp"
#include "server/pipeline/batch.hpp"
#include "server/pipeline/setup.hpp"

namespace turnstone {

class LossWatch {
  public:
    /// `vehicle`: its place in the setup.
    LossWatch(const PipelineSetup& setup, const Schema& schema, std::size_t vehicle);
    void see(const Batch& batch, Marks from);
    /// At every tick.
    void judge(std::vector<Condition>& out);
    /// Of packets, over the last two seconds with a row; empty: too few to say. A burst is in it before it is much of
    /// a figure over ten.
    [[nodiscard]] std::optional<double> lately() const { return least(2).second; }

  private:
    static constexpr std::size_t kSeconds = 5; ///< of rows, one a second
    struct Second {
        double lost = 0, received = 0;
    };
    struct Link {
        std::string name;
        const Table* table;
        std::size_t lost, rate; ///< places of columns
        double lost_before = 0; ///< in all
        std::array<Second, kSeconds> seconds{};
        std::size_t at = 0;
        [[nodiscard]] std::optional<double> loss(std::size_t newest) const;
    };
    /// The link that loses least over the newest seconds, and what it loses.
    [[nodiscard]] std::pair<const Link*, std::optional<double>> least(std::size_t newest) const;

    std::vector<Link> links_;
    int heavy_ticks_ = 0; ///< in a row
    bool is_heavy_ = false;
};

} // namespace turnstone
