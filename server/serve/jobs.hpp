#pragma once
/// Work that may last for minutes, asked for by visitors: it waits for one of two threads of its own, tells how far it
/// is, can be stopped, and leaves its result for ten minutes. May be used from any thread.
#include <atomic>
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>

#include <nlohmann/json.hpp>

#include "server/debrief/advance.hpp"
#include "server/debrief/recordings.hpp"
#include "server/serve/workers.hpp"
#include "shared/result.hpp"
#include "shared/words.hpp"

namespace turnstone {

/// A line of server/serve/http/flights/job_kinds.cpp.
struct JobKind {
    std::string_view name;
    bool operator_only; ///< it writes into the recordings' folder
    Result<nlohmann::json> (*run)(const debrief::Recordings& recordings, const nlohmann::json& request,
                                  const debrief::Advance& advance);
};

enum class JobState : unsigned char { waiting, working, done, failed, stopped };
consteval auto words_of(JobState) {
    return words<JobState::stopped>("waiting", "working", "done", "failed", "stopped");
}

/// What became of a job so far.
struct JobView {
    std::string id;
    std::string_view kind;
    JobState state;
    double fraction;
    std::shared_ptr<const std::string> result; ///< JSON; null: none
    std::string error;
};

class Jobs {
  public:
    using Clock = std::chrono::steady_clock;
    static constexpr std::size_t kResultBytesMax = 16u << 20;
    static constexpr std::size_t kResultsBytesMax = 64u << 20; ///< of all; the oldest give way
    static constexpr std::chrono::minutes kKept{10};

    /// Both must outlive it; `folder`: of the recordings.
    Jobs(std::filesystem::path folder, Workers& workers, Budgets& budgets)
        : recordings_{std::move(folder)}, workers_(workers), budgets_(budgets) {}

    /// The new job's id, or why there is no room for it. `request` is as the client sent it.
    [[nodiscard]] Result<std::string> begin(const JobKind& kind, const Client& client, nlohmann::json request);
    /// Empty: there is no such job, or no longer.
    [[nodiscard]] std::optional<JobView> look(const std::string& id, Clock::time_point now = Clock::now());
    enum class StopVerdict : unsigned char { stopped, unknown, of_another };
    /// Stops it, or forgets its result: for whoever asked for it, and for operators.
    StopVerdict stop(const std::string& id, const Client& client);
    /// The server ends.
    void stop_all();

  private:
    struct Job {
        std::string id;
        const JobKind* kind;
        std::string address;
        Lease place; ///< until it has ended
        std::atomic<bool> asked_to_stop = false;
        std::atomic<double> fraction = 0;
        // Guarded by the table's mutex:
        JobState state = JobState::waiting;
        std::shared_ptr<const std::string> result = {};
        std::string error = {};
        Clock::time_point ended_at = {};
    };

    void run(Job& job, const nlohmann::json& request);
    void end(Job& job, JobState state, std::shared_ptr<const std::string> result, std::string error);
    void forget_old(Clock::time_point now);

    const debrief::Recordings recordings_;
    Workers& workers_;
    Budgets& budgets_;
    std::mutex mutex_; // guards the rest
    std::map<std::uint64_t, std::shared_ptr<Job>> jobs_;
    std::uint64_t begun_ = 0;
    bool ending_ = false;
};

} // namespace turnstone
