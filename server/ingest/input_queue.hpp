#pragma once
/// From reception to the interpreter: what was received, in order, and requests that keep their place in it. Every
/// function locks; none waits but take().
///
/// Memory is bounded however far the interpreter falls behind: what does not fit is not kept here, since the recorder
/// has it, and the interpreter reads it from the recording when its turn comes. Of times only the last counts that
/// comes before an input.
#include <condition_variable>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <variant>
#include <vector>

#include "server/ingest/recent_inputs.hpp"
#include "server/pipeline/inputs.hpp"
#include "server/serve/live_tape.hpp"

namespace turnstone {

/// Time has come this far, and nothing received before it is still to come.
struct TimePassed {
    std::int64_t t_ns;
};
/// A tape begins; what follows belongs to it.
struct TapeBegins {
    LiveTape tape;
    std::uint64_t stored_inputs = 0; ///< of the tape's recording, which goes on: they come first, from its file
    /// Gets those that a new recording would have to begin with; nothing when the stored inputs cannot be read, so that
    /// a new recording has to begin.
    std::function<void(std::optional<RecentInputs>)> give_back = {};
};
/// What a new recording has to know of the one under way.
struct Past {
    std::int64_t needs_since_ns; ///< see Pipeline::needs_inputs_since_ns
    std::vector<Action> actions; ///< see Pipeline::carried_actions
};
struct AskForPast {
    std::function<void(Past)> answer; ///< called by the interpreter
};

/// Inputs of the tape's recording that were not kept: they are to be read from its file.
struct StoredInputs {
    std::uint64_t first = 0, count = 0;
};

using Received = std::variant<std::shared_ptr<const Inputs>, StoredInputs, TimePassed, TapeBegins, AskForPast>;

class InputQueue {
  public:
    /// Two hours of a radio, or a minute of the fastest link: a computer that is behind by more will not catch up soon.
    static constexpr std::size_t kKeptBytesMax = 48u << 20;
    static constexpr std::uint64_t kStoredAtOnce = 2000; ///< what take() gives at most

    explicit InputQueue(std::size_t kept_bytes_max = kKeptBytesMax) : kept_bytes_max_(kept_bytes_max) {}

    /// `t_ns`: station time of what is put.
    void put(Received item, std::int64_t t_ns);
    /// take() gives out what is left, then nothing.
    void stop();

    /// Waits for the next. Empty only after stop().
    [[nodiscard]] std::optional<Received> take();
    /// Nothing waits to be taken.
    [[nodiscard]] bool idle() const;
    /// Station time of the newest of the StoredInputs that take() gave last: the rest of them is younger.
    void reached(std::int64_t t_ns);

    struct Backlog {
        double behind_s;        ///< age of the oldest input that waits
        std::size_t kept_bytes; ///< of memory, for received bytes that wait here
    };
    [[nodiscard]] Backlog backlog(std::int64_t now_ns) const;

  private:
    struct Item {
        Received what;
        std::int64_t t_ns;
    };
    void put_inputs(std::shared_ptr<const Inputs> inputs, std::int64_t t_ns);
    void leave_to_file(const Inputs& inputs, std::int64_t t_ns);

    const std::size_t kept_bytes_max_;
    mutable std::mutex mutex_;
    std::condition_variable came_;
    std::deque<Item> items_;
    std::size_t kept_bytes_ = 0;
    bool stopped_ = false;
};

} // namespace turnstone
