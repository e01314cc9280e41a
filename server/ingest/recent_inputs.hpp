#pragma once
/// What a new recording may have to begin with.
#include <cstdint>
#include <deque>
#include <memory>

#include "server/pipeline/inputs.hpp"

namespace turnstone {

class RecentInputs {
  public:
    void add(std::shared_ptr<const Inputs> inputs);
    /// Forgets what is older, and the oldest of what is more than fits.
    void forget_before(std::int64_t t_ns);
    /// Puts what came earlier in front.
    void put_before(RecentInputs earlier);
    /// Chunks since then, in order. Actions are not carried: they say what was so.
    template <class OnChunk>
    void since(std::int64_t t_ns, OnChunk&& on_chunk) const {
        for (const auto& inputs : kept_)
            for (const ChunkRecord& chunk : inputs->chunks)
                if (chunk.t_rx_ns >= t_ns) on_chunk(chunk, inputs->bytes_of(chunk));
    }

  private:
    std::deque<std::shared_ptr<const Inputs>> kept_;
    std::size_t bytes_ = 0;
};

} // namespace turnstone
