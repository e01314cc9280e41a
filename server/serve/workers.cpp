#include "server/serve/workers.hpp"

#include <algorithm>
#include <chrono>
#include <exception>
#include <utility>

#include <sys/resource.h>

#include <spdlog/spdlog.h>

namespace turnstone {
namespace {

constexpr std::size_t kSlowThreads = 2;      // of each slow lane: one may be at it for long
constexpr unsigned kLiveInARowMax = 8;       // then one of the others goes first: they wait, but they do not starve
constexpr int kNiceness = 5;                 // reception and the live stream go before reads of what is recorded
constexpr std::size_t kReadersMax = 4;       // per worker: the live tape and recordings compared with it
constexpr std::chrono::seconds kIdleTime{5}; // an open reader is in the way of anyone who wants to move the file

} // namespace

Result<RecordingReader*> ReaderCache::get(const std::filesystem::path& path) {
    const auto found =
        std::find_if(entries_.begin(), entries_.end(), [&](const Entry& entry) { return entry.path == path; });
    if (found != entries_.end()) {
        entries_.splice(entries_.begin(), entries_, found);
        return &entries_.front().reader;
    }
    auto reader = RecordingReader::open(path);
    if (!reader) return tl::unexpected<Error>(reader.error());
    entries_.push_front({path, std::move(*reader)});
    if (entries_.size() > kReadersMax) entries_.pop_back();
    return &entries_.front().reader;
}

Workers::Workers(std::size_t threads, Budgets& budgets)
    : budgets_(budgets), stored_max_(std::max<std::size_t>(threads, 2) - 1) {
    for (std::size_t i = 0; i < std::max<std::size_t>(threads, 2); ++i)
        threads_.emplace_back([this] { run(std::nullopt); });
    for (const Lane lane : {Lane::slow, Lane::jobs})
        for (std::size_t i = 0; i < kSlowThreads; ++i) threads_.emplace_back([this, lane] { run(lane); });
}

Workers::~Workers() {
    stop();
}

Result<void> Workers::submit(Lane lane, const Client& client, Job job) {
    auto lease = budgets_.take(Budget::reads, client);
    if (!lease) return tl::unexpected(lease.error());
    {
        const std::lock_guard lock(mutex_);
        if (stopping_) return fail("the server is shutting down");
        std::list<Turn>& turns = queue(lane);
        auto turn = std::ranges::find(turns, client.turn, &Turn::client);
        if (turn == turns.end()) turn = turns.insert(turns.end(), {.client = client.turn, .jobs = {}});
        turn->jobs.push_back({.job = std::move(job), .lease = std::move(*lease)});
    }
    wake_.notify_all(); // some threads take only some lanes
    return {};
}

void Workers::release_readers() {
    {
        const std::lock_guard lock(mutex_);
        ++release_count_;
    }
    wake_.notify_all();
}

void Workers::stop() {
    {
        const std::lock_guard lock(mutex_);
        stopping_ = true;
        for (auto& turns : queues_) turns.clear();
    }
    wake_.notify_all();
    for (std::thread& thread : threads_)
        if (thread.joinable()) thread.join();
}

std::size_t Workers::waiting() const {
    const std::lock_guard lock(mutex_);
    std::size_t count = 0;
    for (const auto& turns : queues_)
        for (const Turn& turn : turns) count += turn.jobs.size();
    return count;
}

std::optional<Lane> Workers::next_lane(std::optional<Lane> own) const {
    if (own) return has_jobs(*own) ? own : std::nullopt;
    const bool stored = has_jobs(Lane::stored) && stored_under_way_ < stored_max_;
    if (has_jobs(Lane::live) && (!stored || live_in_a_row_ < kLiveInARowMax)) return Lane::live;
    return stored ? std::optional(Lane::stored) : std::nullopt;
}

Workers::Taken Workers::take(Lane lane) {
    std::list<Turn>& turns = queue(lane);
    Turn& turn = turns.front();
    Taken taken{.entry = std::move(turn.jobs.front()), .lane = lane};
    turn.jobs.pop_front();
    if (turn.jobs.empty())
        turns.pop_front();
    else
        turns.splice(turns.end(), turns, turns.begin());
    if (lane == Lane::live || lane == Lane::stored) live_in_a_row_ = lane == Lane::live ? live_in_a_row_ + 1 : 0;
    if (lane == Lane::stored) ++stored_under_way_;
    return taken;
}

void Workers::run(std::optional<Lane> own) {
    const int niceness = own == Lane::jobs ? kNicenessOfJobs : kNiceness;
    ::setpriority(PRIO_PROCESS, 0, niceness); // of this thread alone; refused, it reads as fast as the others run
    ReaderCache cache;
    std::uint64_t released = 0;
    std::unique_lock lock(mutex_);
    while (!stopping_) {
        const bool woken =
            wake_.wait_for(lock, kIdleTime, [&] { return stopping_ || next_lane(own) || released != release_count_; });
        if (!woken || released != release_count_) {
            released = release_count_;
            lock.unlock();
            cache.clear();
            lock.lock();
            continue;
        }
        const auto lane = next_lane(own);
        if (stopping_ || !lane) continue;
        {
            Taken taken = take(*lane);
            lock.unlock();
            try {
                taken.entry.job(cache);
            } catch (const std::exception& failure) {
                // A job answers its own failures; this one could not (out of memory while making the answer).
                spdlog::error("a read of a recording failed: {}", failure.what());
            }
        } // the job's lease ends here, without the lock
        lock.lock();
        if (*lane == Lane::stored) {
            --stored_under_way_;
            wake_.notify_all();
        }
    }
}

} // namespace turnstone
