#include "server/record/upkeep.hpp"

#include <chrono>
#include <utility>
#include <vector>

#include <spdlog/spdlog.h>

#include "server/record/derive.hpp"
#include "server/record/write/repair.hpp"

namespace turnstone {

namespace {

constexpr std::chrono::seconds kRetry{1};

} // namespace

Upkeep::Upkeep(std::filesystem::path directory) : directory_(std::move(directory)), thread_([this] { run(); }) {}

Upkeep::~Upkeep() {
    {
        const std::lock_guard lock(mutex_);
        stopping_ = true;
        wake_.notify_one();
    }
    thread_.join();
}

void Upkeep::finish(const std::filesystem::path& path) {
    const std::lock_guard lock(mutex_);
    waiting_.insert(path);
    wake_.notify_one();
}

void Upkeep::run() {
    remove_leftovers(directory_);
    std::set<std::filesystem::path> left; // in use when last tried
    for (const std::filesystem::path& path : unclosed_recordings(directory_)) left.insert(path);
    std::unique_lock lock(mutex_);
    while (!stopping_) {
        left.merge(waiting_);
        waiting_.clear();
        for (auto next = left.begin(); next != left.end() && !stopping_;) {
            lock.unlock();
            const auto outcome = finish_recording(*next);
            if (!outcome) spdlog::error("{}", outcome.error().message);
            lock.lock();
            const bool again = outcome && *outcome == RepairOutcome::in_use;
            next = again ? std::next(next) : left.erase(next);
        }
        if (stopping_) return;
        if (left.empty())
            wake_.wait(lock, [this] { return stopping_ || !waiting_.empty(); });
        else
            wake_.wait_for(lock, kRetry, [this] { return stopping_ || !waiting_.empty(); });
    }
}

} // namespace turnstone
