#include "server/serve/workers.hpp"

#include <algorithm>
#include <chrono>
#include <exception>

#include <spdlog/spdlog.h>

namespace turnstone {
namespace {

constexpr std::size_t kJobsMax = 256;  // a page asks for a few dozen series at once, and there may be several pages
constexpr std::size_t kReadersMax = 4; // per worker: the live tape and recordings compared with it
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

Workers::Workers(std::size_t threads) {
    for (std::size_t i = 0; i < std::max<std::size_t>(threads, 1); ++i) threads_.emplace_back([this] { run(); });
}

Workers::~Workers() {
    stop();
}

bool Workers::submit(Job job) {
    {
        const std::lock_guard lock(mutex_);
        if (stopping_ || jobs_.size() >= kJobsMax) return false;
        jobs_.push_back(std::move(job));
    }
    wake_.notify_one();
    return true;
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
        jobs_.clear();
    }
    wake_.notify_all();
    for (std::thread& thread : threads_)
        if (thread.joinable()) thread.join();
}

std::size_t Workers::waiting() const {
    const std::lock_guard lock(mutex_);
    return jobs_.size();
}

void Workers::run() {
    ReaderCache cache;
    std::uint64_t released = 0;
    std::unique_lock lock(mutex_);
    while (!stopping_) {
        const bool woken =
            wake_.wait_for(lock, kIdleTime, [&] { return stopping_ || !jobs_.empty() || released != release_count_; });
        if (!woken || released != release_count_) {
            released = release_count_;
            lock.unlock();
            cache.clear();
            lock.lock();
            continue;
        }
        if (jobs_.empty()) continue;
        Job job = std::move(jobs_.front());
        jobs_.pop_front();
        lock.unlock();
        try {
            job(cache);
        } catch (const std::exception& failure) {
            // A job answers its own failures; this one could not (out of memory while making the answer).
            spdlog::error("a read of a recording failed: {}", failure.what());
        }
        job = nullptr;
        lock.lock();
    }
}

} // namespace turnstone
