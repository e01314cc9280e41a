#pragma once
/// The poll: what each position of the station says, go or no-go. The positions are those of all vehicles' readiness
/// files; one id is one position.
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "server/pipeline/action.hpp"
#include "server/pipeline/batch.hpp"
#include "server/pipeline/setup.hpp"

namespace turnstone {

class Poll {
  public:
    explicit Poll(const PipelineSetup& setup);

    /// Takes back what it said before. Of a position that nobody has named, nothing follows; of an answer the same.
    void take(const PollQuestion& question, std::int64_t t_ns, Batch& out);
    void take(const PollAnswer& answer, std::int64_t t_ns, Batch& out);
    /// Their answers are spent: the vehicle has left.
    void forget(const std::vector<Position>& positions);

    /// Why these positions do not all say go, each in a few words.
    [[nodiscard]] std::vector<std::string> reasons(const std::vector<Position>& positions) const;
    void carry(std::vector<Action>& out) const;

  private:
    enum class Says : unsigned char { nothing, asked, go, no_go };
    struct At {
        Position position;
        Says says = Says::nothing;
        std::int64_t t_ns = 0;
        std::string by = {}, note = {};
    };
    [[nodiscard]] At* find(std::string_view id);

    std::vector<At> positions_;
};

} // namespace turnstone
